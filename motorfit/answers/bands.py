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
from motorfit.answers.selection import quantile_rows

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
    array = np.asarray(values, dtype=np.float64)
    out, finite = np.empty((3, len(array))), np.empty(len(array), dtype=np.int64)
    _select(array, interval, out, finite, 0, len(array))
    return _shown(array, out, finite)


def bands(values: Mapping[str, NDArray[Any]], interval: float) -> dict[str, Band]:
    """Return a Band for each named array (G, S); threads share large ones."""
    arrays = {name: np.asarray(array, dtype=np.float64) for name, array in values.items()}
    if sum(array.size for array in arrays.values()) < _THREADED_ABOVE:
        return {name: band(array, interval) for name, array in arrays.items()}
    outs = {name: np.empty((3, len(array))) for name, array in arrays.items()}
    counts = {name: np.empty(len(array), dtype=np.int64) for name, array in arrays.items()}
    with ThreadPoolExecutor(min(os.cpu_count() or 1, 4)) as pool:
        waiting = [
            pool.submit(_select, array, interval, outs[name], counts[name], first, last)
            for name, array in arrays.items()
            for first, last in _parts(len(array))
        ]
        for part in waiting:
            part.result()
    return {name: _shown(array, outs[name], counts[name]) for name, array in arrays.items()}


def _parts(rows: int) -> list[tuple[int, int]]:
    """Two parts of a curve, so that threads end together; whole cache lines of values, for the copy."""
    half = (rows // 2 + 7) // 8 * 8
    return [(0, half), (half, rows)] if half < rows else [(0, rows)]


def _select(
    array: FloatArray, interval: float, out: FloatArray, finite: NDArray[np.int64], first: int, last: int
) -> None:
    tail = 0.5 * (1.0 - interval)
    q = np.array([0.5, tail, 1.0 - tail])
    quantile_rows(np.ascontiguousarray(array[first:last]), q, out[:, first:last], finite[first:last])


def _shown(array: FloatArray, out: FloatArray, finite: NDArray[np.int64]) -> Band:
    out[:, 2 * finite < array.shape[1]] = np.nan
    return Band(*out)
