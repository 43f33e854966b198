"""Whose speed is logged: odds over pole counts, given label, torque per ampere, thrust and power.

A wrong count multiplies speed by a ratio f. Speed per volt then is off by f, and so is torque per ampere
times speed per volt; coefficients of thrust and torque by 1/f², the figure of merit by 1/f. Each of these is
known to some per cent or some tens of per cent for any motor and propeller; together they tell counts apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = ["Evidence", "Reading", "odds"]

_USUAL_PAIRS = 7
_COUNTS: Mapping[int, float] = {
    # prior weight of pole pairs on small motors
    1: 0.3, 2: 0.8, 3: 0.4, 4: 0.5, 5: 1.0, 6: 4.0, 7: 8.0, 8: 0.8, 10: 0.5, 11: 1.0, 12: 0.5, 14: 1.0,
}  # fmt: skip
_WRONG = 0.12
"""Prior that a pole count is wrong, in the campaign file or in the logger; most often 6 stands for 7."""

_OTHER = {2.0: 0.02, 0.5: 0.02}
"""Poles taken for pole pairs, or the reverse."""

_ELECTRICAL = 0.01
_WHEEL = 0.01


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that a wrong speed would shift.

    Attributes
    ----------
    name: in words.
    log_ratio: natural logarithm of what is read over what is usual.
    power: the exponent with which the speed's ratio enters.
    sd: one sigma of log_ratio between motors or propellers [1].
    wide: the share of cases that spread three times as far.
    bounded: whether those only fall short: an ideal machine is the bound above.
    slack: how far it may fall short for good reason, as the speed of a loaded motor does [1].
    """

    name: str
    log_ratio: float
    power: float
    sd: float
    wide: float
    bounded: bool = False
    slack: float = 0.0

    def likelihood(self, log_f: float) -> float:
        """Of a speed off by exp(log_f)."""
        off = self.log_ratio - self.power * log_f
        off = min(off + self.slack, 0.0) if off < 0.0 else off
        density = 0.0
        far = self.sd if self.bounded and off > 0.0 else 3.0 * self.sd
        for share, sd in ((1.0 - self.wide, self.sd), (self.wide, far)):
            density += share / sd * math.exp(-0.5 * (off / sd) ** 2)
        # a thousandth for what nobody thought of, so that no single reading decides alone
        return density + 1e-3 / self.sd


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to explain the speed: its ratio to the true one, in words, with its posterior probability."""

    ratio: float
    words: str
    probability: float


def odds(
    evidence: Sequence[Evidence], pole_pairs: int | None, turns_per_turn: float | None = None
) -> list[Reading]:
    """Explanations of a logged speed, the likeliest first; that of a right speed has the ratio 1."""
    pairs = pole_pairs or _USUAL_PAIRS
    prior: dict[float, tuple[str, float]] = {}

    def add(ratio: float, words: str, weight: float) -> None:
        if ratio in prior:
            weight += prior[ratio][1]
        prior[ratio] = (prior[ratio][0] if ratio in prior else words, weight)

    add(1.0, "the speed is right", 1.0)
    for ratio, weight in _OTHER.items():
        add(ratio, "poles were taken for pole pairs, or the reverse", weight)
    others = {count: weight for count, weight in _COUNTS.items() if count != pairs}
    total = sum(others.values())
    for count, weight in others.items():
        share = 0.5 * _WRONG * weight / total
        add(count / pairs, f"{count} pole pairs instead of {pairs}", share)
        add(pairs / count, f"a logger set to {count} pole pairs instead of {pairs}", share)
    add(float(pairs), "it is the electrical speed, not divided by the pole pairs", _ELECTRICAL)
    if turns_per_turn is not None and turns_per_turn != 1.0:
        add(1.0 / turns_per_turn, "it is the flywheel's speed, not the motor's", _WHEEL)
    scores = {
        ratio: weight * math.prod(e.likelihood(math.log(ratio)) for e in evidence)
        for ratio, (_, weight) in prior.items()
    }
    whole = sum(scores.values())
    readings = [Reading(ratio, prior[ratio][0], score / whole) for ratio, score in scores.items()]
    return sorted(readings, key=lambda r: -r.probability)
