"""Stretches of rows that were written twice: the same times and the same readings, to the last digit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["equal_cells", "written_twice"]

_MOST_STEPS_BACK = 200
"""More of them are no copies of stretches, but rows in some other order."""


def written_twice(time: NDArray[np.float64], cells: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which rows, bool (n,), belong to a stretch that repeats an earlier one; that one is not marked.

    Where time (n,) steps back, the rows from there on have to be the earlier rows of the same times, one
    after the other and equal in all cells (n, width), until time is past all rows before or steps back
    again, or the log ends. Two runs of one clock differ in their noise; a buffer that was written out twice
    does not. A stretch that begins with the log's first row may be a run of its own, for a person to say.
    """
    copied = np.zeros(len(time), dtype=bool)
    back = np.flatnonzero(np.diff(time) < 0) + 1
    if len(back) > _MOST_STEPS_BACK:
        return copied
    for first in back.tolist():
        if copied[first]:
            continue
        before = np.flatnonzero(~copied[:first])
        latest = float(time[before].max())
        if time[first] > latest or time[first] == time[0]:
            continue
        for start in np.flatnonzero(time[before] == time[first]).tolist():
            length = _equal_rows(time, cells, before[start:], first)
            end = first + length
            if length and (end == len(time) or time[end] >= latest or time[end] < time[end - 1]):
                copied[first:end] = True
                break
    return copied


def _equal_rows(
    time: NDArray[np.float64], cells: NDArray[np.float64], earlier: NDArray[np.int64], first: int
) -> int:
    """How many rows from `first` on equal the `earlier` ones (k,), one by one."""
    earlier = earlier[: len(time) - first]
    later = np.arange(first, first + len(earlier))
    same = (time[earlier] == time[later]) & equal_cells(cells[earlier], cells[later])
    return len(same) if same.all() else int(np.argmin(same))


def equal_cells(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which rows of two tables (n, width) are equal in all cells, missing ones among them."""
    return np.asarray(np.all((a == b) | (np.isnan(a) & np.isnan(b)), axis=1))
