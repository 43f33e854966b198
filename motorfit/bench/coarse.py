"""A clock whose steps are coarse: many rows share each stamp, though they were taken one after the other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["spread_stamps"]

_FEWEST_STAMPS = 4
_FEWEST_ROWS = 3.0
_EVEN = 0.15


def spread_stamps(time: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Time (n,) with the rows of each stamp spread evenly up to the next; None where it is not of that kind.

    It is where stamps follow each other in equal steps and each has about as many rows as the others. The
    first stamp's rows lie at its end, the last one's at its begin, at the usual interval: a log begins and
    ends in the middle of a step.
    """
    starts = np.flatnonzero(np.concatenate([[True], np.diff(time) > 0]))
    counts = np.diff(np.append(starts, len(time)))
    if len(starts) < _FEWEST_STAMPS or len(time) < 2 * len(starts):
        return None
    inner, steps = counts[1:-1], np.diff(time[starts])
    usual, step = float(np.median(inner)), float(np.median(steps))
    off = np.abs(inner - usual) > np.maximum(1.0, _EVEN * usual)
    if usual < _FEWEST_ROWS or np.mean(off) > 0.1 or np.mean(np.abs(steps - step) > 0.1 * step) > 0.1:
        return None
    length = np.append(np.minimum(steps, 1.5 * step), step)
    per_row = length / counts
    begin = time[starts].copy()
    interval = step / usual
    per_row[[0, -1]] = np.minimum(interval, per_row[[0, -1]] if counts[0] > usual else interval)
    begin[0] = begin[1] - counts[0] * per_row[0] if steps[0] < 1.5 * step else begin[0]
    within = np.arange(len(time)) - np.repeat(starts, counts)
    return np.asarray(np.repeat(begin, counts) + within * np.repeat(per_row, counts))
