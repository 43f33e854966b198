"""The difference of two motors in one figure: how large, how sure, and whether it matters."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.bands import band, bands
from motorfit.answers.metrics import Metric
from motorfit.answers.plain import chance, number
from motorfit.answers.posterior import FloatArray

SURE = 0.95
"""Probability from which an answer is given as decided."""


@dataclass(frozen=True)
class Difference:
    """First minus second.

    Attributes
    ----------
    first, second : names
    median, low, high : of the difference, in the metric's unit
    ratio : (median, low, high) of first over second
    probability_first_greater : of the difference being above 0
    margin : absolute, what is taken as a difference that matters
    probability_first_beyond, probability_second_beyond : of either being greater by more than the margin
    verdict : "first-greater", "second-greater", "equal-in-practice", "cannot-be-told-apart" or "no-answer"
    sharper_by : standard deviation of the two motors' intervals subtracted as if they shared nothing, over
        that of the paired difference
    ratio_sharper_by : the same of the ratio; a gain that both share scales a difference, and leaves a ratio
    text : the verdict as a sentence
    """

    first: str
    second: str
    median: float
    low: float
    high: float
    ratio: tuple[float, float, float]
    probability_first_greater: float
    margin: float
    probability_first_beyond: float
    probability_second_beyond: float
    verdict: str
    sharper_by: float
    ratio_sharper_by: float
    text: str

    @property
    def probability_within_margin(self) -> float:
        """Of the difference being too small to matter."""
        return max(0.0, 1.0 - self.probability_first_beyond - self.probability_second_beyond)

    def to_json(self) -> dict[str, Any]:
        """Return the entry of ``compare --json``."""
        return {
            "first": self.first,
            "second": self.second,
            "median": number(self.median),
            "low": number(self.low),
            "high": number(self.high),
            "ratio": {k: number(v) for k, v in zip(("median", "low", "high"), self.ratio, strict=True)},
            "probability_first_greater": number(self.probability_first_greater),
            "margin": number(self.margin),
            "probability_first_greater_by_margin": number(self.probability_first_beyond),
            "probability_second_greater_by_margin": number(self.probability_second_beyond),
            "probability_within_margin": number(self.probability_within_margin),
            "verdict": self.verdict,
            "text": self.text,
            "sharper_by": number(self.sharper_by),
            "ratio_sharper_by": number(self.ratio_sharper_by),
        }


def differences(
    metric: Metric, names: tuple[str, ...], values: FloatArray, interval: float, margin: float | None = None
) -> tuple[Difference, ...]:
    """Return the difference of every pair, the earlier name first.

    Parameters
    ----------
    metric : for its margin
    names : (motors,)
    values : (motors, S) paired draws
    interval : probability inside low..high
    margin : relative to the mean of the two medians; the metric's own when left out
    """
    n = len(names)
    first, second = np.triu_indices(n, 1)
    if not len(first):
        return ()
    gaps = values[first] - values[second]
    with np.errstate(divide="ignore", invalid="ignore"):
        quotients = np.where(values[second] != 0.0, values[first] / values[second], np.nan)
    spreads = bands({"gap": gaps, "ratio": quotients}, interval)
    found, ratio = spreads["gap"], spreads["ratio"]
    share = metric.margin if margin is None else margin
    with np.errstate(invalid="ignore"):
        medians = band(values, interval).median
        margins = share * 0.5 * np.abs(medians[first] + medians[second])
        # A comparison with NaN, a draw without an answer, is never true.
        total = gaps.shape[1] - np.count_nonzero(np.isnan(gaps), axis=1)
        greater, equal = np.count_nonzero(gaps > 0.0, axis=1), np.count_nonzero(gaps == 0.0, axis=1)
        above = _share(greater + 0.5 * equal, total, gaps.shape[1])
        beyond = _share(np.count_nonzero(gaps > margins[:, None], axis=1), total, gaps.shape[1])
        below = _share(np.count_nonzero(gaps < -margins[:, None], axis=1), total, gaps.shape[1])
        variance, own = _variance(values), _variance(gaps)
        sharper = np.sqrt((variance[first] + variance[second]) / np.where(own > 0.0, own, np.nan))
        relative = variance / medians**2
        of_ratio = np.where(ratio.low > 0.0, _variance(quotients) / ratio.median**2, np.nan)
        sharper_ratio = np.sqrt(
            (relative[first] + relative[second]) / np.where(of_ratio > 0.0, of_ratio, np.nan)
        )
    out = []
    for k, (i, j) in enumerate(zip(first.tolist(), second.tolist(), strict=True)):
        verdict = _verdict(found.median[k], above[k], beyond[k], below[k])
        spread = float(found.median[k]), float(found.low[k]), float(found.high[k])
        quotient = float(ratio.median[k]), float(ratio.low[k]), float(ratio.high[k])
        out.append(
            Difference(
                names[i], names[j], *spread, quotient, float(above[k]),
                float(margins[k]), float(beyond[k]), float(below[k]), verdict, float(sharper[k]),
                float(sharper_ratio[k]),
                _text(
                    verdict, (names[i], names[j]), float(max(beyond[k], below[k])), float(above[k]), share,
                    quotient,
                ),
            )
        )  # fmt: skip
    return tuple(out)


def _variance(rows: FloatArray) -> FloatArray:
    """Variance of the finite entries of each row; NaN where there are none."""
    found: FloatArray = rows.var(axis=1)
    for k in np.flatnonzero(~np.isfinite(found)):
        finite = rows[k][np.isfinite(rows[k])]
        found[k] = finite.var() if finite.size else np.nan
    return found


def _share(counted: NDArray[Any], total: NDArray[Any], draws: int) -> FloatArray:
    """Share of the draws with an answer that hit; half a draw short of certain: S draws say no more."""
    shares = (counted + 0.5 * (counted < 0.5) - 0.5 * (counted > total - 0.5)) / np.maximum(total, 1)
    return np.where(2 * total < draws, np.nan, shares)


def _verdict(median: float, above: float, beyond: float, below: float) -> str:
    if not (np.isfinite(median) and np.isfinite(above)):
        return "no-answer"
    if 1.0 - beyond - below >= SURE:
        return "equal-in-practice"
    if above >= SURE:
        return "first-greater"
    if above <= 1.0 - SURE:
        return "second-greater"
    return "cannot-be-told-apart"


def _text(
    verdict: str,
    names: tuple[str, str],
    beyond: float,
    above: float,
    share: float,
    ratio: tuple[float, float, float],
) -> str:
    margin = f"the margin of {100.0 * share:g} %"
    if verdict == "no-answer":
        return f"There is no value for {names[0]} or {names[1]}."
    winner, loser = names if above >= 0.5 else names[::-1]
    apart = _apart(ratio, above >= 0.5)
    by = f" by {apart}" if apart else ""
    if verdict == "equal-in-practice":
        sure = max(above, 1.0 - above) >= SURE and apart
        tail = f"; {winner} is greater{by}" if sure else ""
        return f"{names[0]} and {names[1]} differ by less than {margin}: equal in practice{tail}."
    if verdict == "cannot-be-told-apart":
        p = max(above, 1.0 - above)
        return f"{names[0]} and {names[1]} cannot be told apart ({winner} greater with probability {p:.2f})."
    if beyond >= SURE:
        beside = f"{by}: beyond" if by else " by more than"
        return f"{winner} is greater than {loser}{beside} {margin}."
    return (
        f"{winner} is greater than {loser}{by}; beyond {margin} with probability {chance(beyond)}, so "
        "whether it matters is open."
    )


def _apart(ratio: tuple[float, float, float], first: bool) -> str:
    """By how many per cent the greater one is greater; nothing where a ratio says nothing."""
    if not (np.isfinite(ratio).all() and min(ratio) > 0.0):
        return ""
    median, low, high = ratio if first else (1.0 / ratio[0], 1.0 / ratio[2], 1.0 / ratio[1])
    half = max(50.0 * (high - low), 1e-3)
    exponent = math.floor(math.log10(half))
    places = max((1 if half / 10.0**exponent < 3.5 else 0) - exponent, 0)
    if median > 3.0:  # nobody reads 3400 %
        return f"a factor of {median:.3g}"
    shown = [f"{100.0 * (value - 1.0):.{places}f}".replace("-", "−") for value in (median, low, high)]
    return f"{shown[0]} % ({shown[1]} to {shown[2]} %)"
