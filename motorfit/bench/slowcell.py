"""Load cells that follow slowly: what they read, made of what they were given, and how slow they are."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["best_lag", "lagged", "plausible_lags"]

Array = NDArray[np.float64]
Fit = TypeVar("Fit")

_LAGS_S = (0.01, 0.02, 0.035, 0.05, 0.075, 0.1, 0.15, 0.2)
"""Time constants looked among, beside none."""

_EARNED = 0.85
"""Share of the variance that a lag has to leave at most: below, none is believed."""

_AS_GOOD = 1.05
"""Variance left beside the least, up to which a lag may be the cell's."""


def lagged(values: Array, time: Array, lag_s: float) -> Array:
    """What a first-order sensor of time constant `lag_s` [s] reads of values (n,) at times (n,) [s].

    Exact for values on straight lines between samples at even steps; at uneven ones it is near enough to
    tell whether a zero moved.
    """
    step = float(np.median(np.diff(time))) if len(time) > 1 else 0.0
    if lag_s <= 0.0 or step <= 0.0:
        return values
    from scipy.signal import lfilter

    keep = float(np.exp(-step / lag_s))
    mean = (1.0 - keep) * lag_s / step
    # starts as if the first value had stood for long
    start = np.array([values[0] * mean])
    made, _ = lfilter([1.0 - mean, mean - keep], [1.0, -keep], values, zi=start)
    return np.asarray(made)


def best_lag(fit: Callable[[float], tuple[float, Fit]]) -> Fit:
    """The fit with the lag [s] that leaves least; `fit` gives (variance left, itself) for a lag.

    The one without a lag where none leaves clearly less.
    """
    (plain, chosen), *others = _fits(fit)
    least = plain
    for variance, found in others:
        if variance < min(least, _EARNED * plain):
            least, chosen = variance, found
    return chosen


def plausible_lags(fit: Callable[[float], tuple[float, Fit]]) -> list[Fit]:
    """The fits with lags [s] that leave hardly more than the best of them does; `fit` as above."""
    found = _fits(fit)
    least = min(variance for variance, _ in found)
    return [one for variance, one in found if variance <= _AS_GOOD * least] or [found[0][1]]


def _fits(fit: Callable[[float], tuple[float, Fit]]) -> list[tuple[float, Fit]]:
    """Fits without a lag and with longer and longer ones, until they leave far more than the best."""
    found = [fit(0.0)]
    for lag_s in _LAGS_S:
        found.append(fit(lag_s))
        if found[-1][0] > 1.5 * min(variance for variance, _ in found):
            break
    return found
