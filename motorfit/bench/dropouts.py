"""Speed that leaves for an instant and comes back: edges missed or counted twice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_LONGEST_S = 0.15
_MOST_SAMPLES = 200
_LEAVES = 0.4
_RETURNS = 0.15
_LOWEST = 0.2
_LONGEST_STEP_S = 0.02
_CALM = 0.06
_RATIOS = (1.0 / 3.0, 0.5, 2.0 / 3.0, 1.5, 2.0, 3.0)


def speed_excursions(time_s: NDArray[np.float64], speed: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Spans [first, end) of samples in which speed (n,) leaves and comes back, at time_s (n,) [s].

    An excursion begins with a jump by more than 40 % between neighbours while the shaft turns at more than a
    fifth of its top speed, and is back within 15 % of where it left in 0.15 s: no shaft does that, a sensor
    that misses edges (zero, half speed) or counts them twice (double speed) does.
    """
    if len(speed) < 3:
        return []
    with np.errstate(invalid="ignore"):
        jumps = np.flatnonzero(
            (speed[:-1] > _LOWEST * _top(speed)) & (np.abs(speed[1:] - speed[:-1]) > _LEAVES * speed[:-1])
        )
    spans: list[tuple[int, int]] = []
    done = 0
    for jump in jumps.tolist():
        if jump < done:
            continue
        latest = int(np.searchsorted(time_s, time_s[jump] + _LONGEST_S, side="right"))
        # Even a slow log gets to look at one sample beyond the excursion.
        ahead = speed[jump + 1 : min(max(latest, jump + 3), jump + 2 + _MOST_SAMPLES)]
        back = np.flatnonzero(np.abs(ahead - speed[jump]) < _RETURNS * speed[jump])
        if len(back) > 0 and back[0] > 0:
            done = jump + 1 + int(back[0])
            spans.append((jump + 1, done))
    return spans


def _top(speed: NDArray[np.float64]) -> float:
    """Top speed, harmonics aside: what one sample in fifty exceeds."""
    known = speed[np.isfinite(speed)]
    return float(np.percentile(known, 98)) if len(known) > 0 else np.inf


def harmonic_spans(
    time_s: NDArray[np.float64], speed: NDArray[np.float64], throttle: NDArray[np.float64] | None
) -> list[tuple[int, int]]:
    """Spans [first, end) of samples in which speed (n,) stands at zero or at a harmonic for longer.

    It enters such a span by a jump between two samples that otherwise calm readings do not have, to zero or
    to a simple ratio, and leaves it by the reverse jump. Jumps where the throttle (n,) moves are the motor's
    own; logs slower than 50 rows a second do not tell.
    """
    known = np.flatnonzero(np.isfinite(speed))
    if len(known) < 20 or not 0.0 < float(np.median(np.diff(time_s))) <= _LONGEST_STEP_S:
        return []
    s = speed[known]
    low = _LOWEST * _top(speed)
    big = np.flatnonzero(np.abs(np.diff(s)) > 0.25 * np.maximum(s[:-1], s[1:]))
    jumps = [int(j) for j in big if max(s[j], s[j + 1]) > low and _is_jump(s, int(j))]
    if throttle is not None:
        jumps = [j for j in jumps if not _moves(throttle, int(known[j]))]
    spans: list[tuple[int, int]] = []
    at = 0
    while at < len(jumps):
        j = jumps[at]
        to_zero = s[j + 1] == 0.0 and s[j] > low
        ratio = s[j + 1] / s[j] if s[j] > 0.0 else 0.0
        if to_zero or any(abs(ratio / r - 1.0) < _CALM for r in _RATIOS):
            back = next((k for k in jumps[at + 1 :] if _undoes(s, j, k, to_zero)), None)
            if back is not None:
                spans.append((int(known[j]) + 1, int(known[back]) + 1))
                at = jumps.index(back) + 1
                continue
        at += 1
    return spans


def _is_jump(s: NDArray[np.float64], j: int) -> bool:
    """Whether the readings on both sides of a jump are calm beside it."""
    size = abs(s[j + 1] - s[j])
    before, after = s[max(j - 5, 0) : j + 1], s[j + 1 : j + 7]
    return all(len(side) > 1 and np.max(np.abs(np.diff(side))) < 0.2 * size for side in (before, after))


def _moves(throttle: NDArray[np.float64], at: int) -> bool:
    near = throttle[max(at - 3, 0) : at + 5]
    near = near[np.isfinite(near)]
    return len(near) > 0 and float(np.ptp(near)) > 0.03


def _undoes(s: NDArray[np.float64], j: int, k: int, to_zero: bool) -> bool:
    if to_zero:
        return bool(s[k] == 0.0 and s[k + 1] > 0.0)
    if s[k] <= 0.0 or s[j] <= 0.0:
        return False
    return bool(abs((s[k + 1] / s[k]) * (s[j + 1] / s[j]) - 1.0) < 2.0 * _CALM)
