"""Quantiles over posterior draws, quickly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.plain import numbers
from motorfit.answers.posterior import FloatArray
from motorfit.answers.selection import quantile_rows


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
    rising = RisingBands(1, len(array), interval)
    rising.add(array[np.newaxis])
    return rising.band(0)


def bands(values: Mapping[str, NDArray[Any]], interval: float) -> dict[str, Band]:
    """Return a Band for each named array (G, S)."""
    return {name: band(array, interval) for name, array in values.items()}


class RisingBands:
    """Bands of curves whose grid comes piece by piece, in order: all draws of all points are never held."""

    def __init__(self, curves: int, points: int, interval: float) -> None:
        """Make room for so many curves of so many points."""
        tail = 0.5 * (1.0 - interval)
        self._q = np.array([0.5, tail, 1.0 - tail])
        self._out = np.empty((curves, 3, points))
        self._blank = np.zeros((curves, points), dtype=np.bool_)
        self._seen = np.full((curves, 3, 2), np.nan)
        self._at = 0

    def add(self, values: FloatArray) -> None:
        """Take the draws of the next points, (curves, points, S)."""
        curves, points, draws = values.shape
        count, to = np.empty((curves, points), dtype=np.int64), self._at + points
        rows = np.ascontiguousarray(values)
        quantile_rows(rows, self._q, self._out[:, :, self._at : to], count, self._seen)
        self._blank[:, self._at : to] = 2 * count < draws
        self._at = to

    def band(self, curve: int, scale: float = 1.0) -> Band:
        """Return the Band of all points of a curve, times a positive factor."""
        out = self._out[curve] * scale
        out[:, self._blank[curve]] = np.nan
        return Band(*out)
