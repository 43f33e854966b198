"""What records say: coverage with its error, mean z, and whether ranks are uniform."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.stats import beta

INTERVALS = (0.50, 0.90, 0.95)
BAND = 0.95
"""Probability that the ECDF of uniform ranks stays inside its band everywhere."""

FEWEST_RANKS = 10
"""Fewer ranks than this say nothing of their distribution."""


@dataclass(frozen=True, slots=True)
class Share:
    """Intervals of one probability that hold the truth.

    ``low`` and ``high`` hold 95 % of what the share may be given the counts, under Jeffreys' prior:
    Beta(held + 1/2, of - held + 1/2) (Brown, Cai, DasGupta, Stat. Sci. 16 (2001) 101).
    """

    interval: float
    held: float
    of: int
    low: float
    high: float

    @property
    def believed(self) -> bool:
        """Whether the interval's probability lies within the doubt of the share."""
        return self.low <= self.interval <= self.high


@dataclass(frozen=True, slots=True)
class Scored:
    """A parameter over a scenario's benches.

    ``uniform`` : whether the ECDF of the ranks stays in its simultaneous band; None where too few are known.
    ``shrink``, ``width`` : median of the posterior's standard deviation relative to the prior's and to
    that of the information limit [1], None where unknown.
    """

    name: str
    benches: int
    shares: tuple[Share, ...]
    mean_z: float
    mean_abs_z: float
    ranks: tuple[float, ...]
    uniform: bool | None
    shrink: float | None
    width: float | None = None


@dataclass(frozen=True, slots=True)
class Odds:
    """Probabilities that the first motor is greater, against what is true.

    ``brier`` is their mean squared error (G. W. Brier, Mon. Weather Rev. 78 (1950) 1), ``ideal`` what it
    would be on average if they were right, ``sd`` one sigma of that.
    """

    name: str
    benches: int
    brier: float
    ideal: float
    sd: float


@dataclass(frozen=True, slots=True)
class Predicted:
    """A predicted curve under a condition: shares of its points whose interval holds the truth.

    Points of a bench hang together, so the doubt of a share is that of as many tries as benches.
    ``error`` is the median size of the median's relative error, ``width`` that of half the 90 % band over the
    truth [1], over benches and points; None where no record has it.
    """

    condition: str
    curve: str
    benches: int
    shares: tuple[Share, ...]
    error: float | None = None
    width: float | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """A scenario: how many benches, by path, refused or not sound, and its parameters.

    ``chi2`` is the median of the truth's own, per residual; ``pairs`` are differences of two motors.
    """

    scenario: str
    benches: int
    failed: int
    unsound: int
    paths: Mapping[str, int]
    median_wall_s: float | None
    parameters: tuple[Scored, ...]
    chi2: float | None = None
    pairs: tuple[Scored, ...] = ()
    odds: tuple[Odds, ...] = ()
    curves: tuple[Predicted, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)


def share(inside: Sequence[bool] | Sequence[float], interval: float) -> Share:
    """Count what is inside, or a part of it; the doubt of the share is never nothing, not at none or all."""
    held, n = float(sum(inside)), len(inside)
    low, high = beta.ppf((0.025, 0.975), held + 0.5, n - held + 0.5)
    return Share(interval, round(held, 2), n, float(low), float(high))


def uniform_ranks(ranks: npt.ArrayLike) -> bool:
    """Whether ranks in 0 to 1, (benches,), are uniform: their ECDF stays inside a simultaneous band.

    T. Säilynoja, P.-C. Bürkner, A. Vehtari, Stat. Comput. 32 (2022) 32, doi 10.1007/s11222-022-10090-6.
    """
    values = np.asarray(ranks, dtype=np.float64)
    at, low, high = band(values.size)
    ecdf = np.searchsorted(np.sort(values), at, side="right") / values.size
    return bool(np.all((ecdf >= low) & (ecdf <= high)))


@cache
def band(n: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Places [1], and the band in which the share of ``n`` uniform ranks up to each lies (ArviZ)."""
    from arviz_stats import ecdf_utils

    made: Any = ecdf_utils  # untyped
    at = np.arange(1, n) / n
    pointwise = made.simulate_confidence_bands(n, 1, at, BAND, 2000, np.random.default_rng(1))
    low, high = made.get_pointwise_confidence_band(pointwise, n, at)
    return at, np.asarray(low), np.asarray(high)


def summarise(scenario: str, records: Sequence[Mapping[str, Any]]) -> Summary:
    """Score a scenario; fits that are not sound count in coverage as the others do, refused ones cannot."""
    done = [record for record in records if "failed" not in record]
    names = dict.fromkeys(name for record in done for name in record["parameters"])
    pairs = dict.fromkeys(name for record in done for name in record.get("pairs", {}))
    paired = {name: [r["pairs"][name] for r in done if name in r.get("pairs", {})] for name in pairs}
    chi2 = [record["chi2"] for record in done if "chi2" in record]
    walls = [record["wall_s"] for record in done if "wall_s" in record]
    return Summary(
        scenario=scenario,
        benches=len(records),
        failed=len(records) - len(done),
        unsound=sum(not record["sound"] for record in done),
        paths=dict(Counter(record["path"] for record in done)),
        median_wall_s=float(np.median(walls)) if walls else None,
        parameters=tuple(
            _parameter(name, [r["parameters"][name] for r in done if name in r["parameters"]])
            for name in names
        ),
        chi2=float(np.median(chi2)) if chi2 else None,
        pairs=tuple(_parameter(name, scores) for name, scores in paired.items()),
        odds=tuple(
            odds(name, [s["p"] for s in scores], [s["greater"] for s in scores])
            for name, scores in paired.items()
        ),
        curves=_curves(done),
    )


def odds(name: str, probabilities: npt.ArrayLike, greater: npt.ArrayLike) -> Odds:
    """Score probabilities (benches,) of what was so (1) or not (0)."""
    p, so = np.asarray(probabilities, dtype=np.float64), np.asarray(greater, dtype=np.float64)
    ideal = p * (1.0 - p)
    sd = float(np.sqrt(np.sum(ideal * (1.0 - 2.0 * p) ** 2))) / p.size
    return Odds(name, p.size, float(np.mean((p - so) ** 2)), float(np.mean(ideal)), sd)


def _curves(done: Sequence[Mapping[str, Any]]) -> tuple[Predicted, ...]:
    ranks: dict[tuple[str, str], list[npt.NDArray[np.float64]]] = {}
    for record in done:
        for condition, curves in record.get("curves", {}).items():
            for curve, points in curves.items():
                if points:
                    ranks.setdefault((condition, curve), []).append(np.abs(np.asarray(points) - 0.5))
    return tuple(
        Predicted(
            condition,
            curve,
            len(each),
            tuple(share([float(np.mean(off <= 0.5 * p)) for off in each], p) for p in INTERVALS),
            _median(done, "errors", condition, curve),
            _median(done, "widths", condition, curve),
        )
        for (condition, curve), each in ranks.items()
    )


def _median(done: Sequence[Mapping[str, Any]], kind: str, condition: str, curve: str) -> float | None:
    """Median size over benches and points; None where no record has it."""
    sizes = [
        abs(value) for record in done for value in record.get(kind, {}).get(condition, {}).get(curve, ())
    ]
    return float(np.median(sizes)) if sizes else None


def _parameter(name: str, scores: Sequence[Mapping[str, Any]]) -> Scored:
    z = np.array([score["z"] for score in scores])
    ranks = tuple(float(score["u"]) for score in scores if "u" in score)
    shares = []
    for interval in INTERVALS:
        inside = [_inside(score, interval) for score in scores]
        known = [held for held in inside if held is not None]
        if known:
            shares.append(share(known, interval))
    shrinks = [score["shrink"] for score in scores if "shrink" in score]
    widths = [score["width"] for score in scores if "width" in score]
    return Scored(
        name=name,
        benches=len(scores),
        shares=tuple(shares),
        mean_z=float(z.mean()),
        mean_abs_z=float(np.abs(z).mean()),
        ranks=ranks,
        uniform=uniform_ranks(ranks) if len(ranks) >= FEWEST_RANKS else None,
        shrink=float(np.median(shrinks)) if shrinks else None,
        width=float(np.median(widths)) if widths else None,
    )


def _inside(score: Mapping[str, Any], interval: float) -> bool | None:
    if "u" in score:
        return bool(abs(score["u"] - 0.5) <= 0.5 * interval)
    held = score.get("inside_90") if interval == 0.90 else None
    return None if held is None else bool(held)
