"""Quantiles over posterior draws, quickly."""

from __future__ import annotations

import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.plain import numbers
from motorfit.answers.posterior import FloatArray

_THREADED_ABOVE = 200_000
"""Values in all, above which threads pay for their start."""


def check_interval(interval: float) -> float:
    """Return the interval's probability, or raise AnswerError outside 0.01..0.999."""
    if not 0.01 <= interval <= 0.999:
        raise AnswerError(
            "interval", interval, "a probability from 0.01 to 0.999", "Give 0.9 for a 90 % interval."
        )
    return float(interval)


@dataclass(frozen=True)
class Band:
    """Median and equal-tailed interval along a grid, each (G,), NaN where there is no answer."""

    median: FloatArray
    low: FloatArray
    high: FloatArray

    def to_json(self) -> dict[str, list[float | None]]:
        """Return ``{"median": [...], "low": [...], "high": [...]}`` with null for no answer."""
        return {"median": numbers(self.median), "low": numbers(self.low), "high": numbers(self.high)}


def band(values: NDArray[Any], interval: float) -> Band:
    """Median and equal-tailed interval over the draws.

    Parameters
    ----------
    values:
        (G, S), one row a grid point. NaN marks a draw without an answer; a row where more than half
        of the draws have none becomes NaN, the others use the draws that have one.
    interval:
        Probability inside the band, 0..1.
    """
    rows = np.sort(np.asarray(values, dtype=np.float64), axis=1)  # NaN sorts to the end
    size = rows.shape[1]
    finite = size - np.isnan(rows).sum(axis=1) if np.isnan(rows[:, -1]).any() else np.full(len(rows), size)
    tail = 0.5 * (1.0 - interval)
    out = [_sorted_quantile(rows, finite, q) for q in (0.5, tail, 1.0 - tail)]
    for array in out:
        array[2 * finite < size] = np.nan
    return Band(*out)


def bands(values: Mapping[str, NDArray[Any]], interval: float) -> dict[str, Band]:
    """Return a Band for each named array (G, S); threads share large ones, since sorting frees the lock."""
    work = sum(array.size for array in values.values())
    if work < _THREADED_ABOVE:
        return {name: band(array, interval) for name, array in values.items()}
    with ThreadPoolExecutor(min(os.cpu_count() or 1, 4)) as pool:
        found = pool.map(lambda array: band(array, interval), values.values())
        return dict(zip(values, found, strict=True))


def _sorted_quantile(rows: FloatArray, finite: NDArray[np.int64], q: float) -> FloatArray:
    """Linear-interpolated quantile q of the first ``finite`` entries of each sorted row."""
    position = q * np.maximum(finite - 1, 0)
    below = np.floor(position).astype(np.intp)
    above = np.minimum(below + 1, np.maximum(finite - 1, 0))
    index = np.arange(len(rows))
    left, right = rows[index, below], rows[index, above]
    weight = position - below
    # An infinite neighbour with weight 0 must not turn a finite quantile into NaN.
    mixed: FloatArray = np.where(
        weight == 0.0, left, left + weight * np.where(weight == 0.0, 0.0, right - left)
    )
    return mixed
