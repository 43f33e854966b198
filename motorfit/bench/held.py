"""A sensor slower than its log: each of its values stands for several rows, until the next one comes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["held_rows", "released"]

Array = NDArray[np.float64]

_FEWEST_VALUES = 20
_FEWEST_ROWS = 100
_FEWEST_HELD = 3.0
_ALIKE = 0.8
_LEAST_MEAN = _ALIKE * (_FEWEST_HELD - 1.0)


def held_rows(values: Array) -> float | None:
    """For how many rows each value (n,) stands, most of them equally long; None where it is not so."""
    known = values[np.isfinite(values)]
    if len(known) < _FEWEST_ROWS:
        return None
    starts = np.flatnonzero(np.diff(known)) + 1
    if len(starts) < _FEWEST_VALUES or len(known) < _LEAST_MEAN * len(starts):
        return None  # most values are new, as a count tells before any median
    lengths = np.diff(starts)
    typical = float(np.median(lengths))
    return typical if typical >= _FEWEST_HELD and np.mean(np.abs(lengths - typical) <= 1) > _ALIKE else None


def released(time_s: Array, values: Array) -> Array:
    """The channel (n,) with each value at the row where it came, at time_s (n,) [s], and a line to the next.

    Left standing, values would be late by half of the time for which they stand. What is missing stays so,
    and so does the last value.
    """
    known = np.flatnonzero(np.isfinite(values))
    new = known[np.concatenate([[True], np.diff(values[known]) != 0.0])]
    out = np.interp(time_s, time_s[new], values[new])
    out[~np.isfinite(values)] = np.nan
    return np.asarray(out)
