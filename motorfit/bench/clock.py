"""From a log's time column to seconds that only go forward."""

from __future__ import annotations

import bisect
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.coarse import spread_stamps
from motorfit.bench.copies import equal_cells, written_twice
from motorfit.bench.order import order_of_one_clock
from motorfit.bench.rawtable import Remark, remark_rows

_MOST_OUT_OF_STEP = 0.01
_COUNTER_BITS = (16, 32)


@dataclass(frozen=True, slots=True)
class Clock:
    """Time that only goes forward, and how the rows come to it.

    Attributes
    ----------
    time_s: float64 (m,), strictly increasing from 0 [s].
    rows: int64 (k,), row positions used, in the order of time.
    groups: int64 (m,), where in `rows` each instant begins; several rows of one stamp are one instant.
    """

    time_s: NDArray[np.float64]
    rows: NDArray[np.int64]
    groups: NDArray[np.int64]

    def gather(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """A channel at the instants, (n,) to (m,): rows of one stamp become the mean of what is there."""
        taken = values[self.rows]
        if len(self.groups) == len(self.rows):
            return taken
        known = np.isfinite(taken)
        count = np.add.reduceat(known.astype(float), self.groups)
        total = np.add.reduceat(np.where(known, taken, 0.0), self.groups)
        return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def make_clock(
    stamps: NDArray[np.float64],
    row_numbers: NDArray[np.int64],
    to_seconds: float,
    cells: NDArray[np.float64],
    full: bool = False,
) -> tuple[Clock | None, list[Remark]]:
    """A forward clock from raw stamps (n,) in the log's unit, `to_seconds` of which make seconds.

    `cells` (n, width) tell which rows repeat others, `full` says whether rows are full: rows of one stamp are
    then not one instant's channels in turn, but instants of a coarse clock. Returns None with an error where
    the clock starts over, as when two runs were joined.
    """
    remarks: list[Remark] = []
    rows = np.flatnonzero(np.isfinite(stamps))
    if len(rows) < len(stamps):
        missing = row_numbers[~np.isfinite(stamps)]
        remarks.append(
            remark_rows("warning", "no-time", "no time; left out", "Look at these rows in the log.", missing)
        )
    if len(rows) < 2:
        return None, [
            *remarks,
            Remark("error", "too-short", "fewer than two rows with a time", "Record the run again."),
        ]
    time = unwrapped(stamps[rows], remarks)
    twice = written_twice(time, cells[rows])
    if twice.any():
        remarks.append(
            remark_rows(
                "warning",
                "repeated-rows",
                "the times and the readings of earlier rows once more, to the last digit; left out",
                "Nothing to do: the logger wrote them twice.",
                row_numbers[rows[twice]],
            )
        )
        rows, time = rows[~twice], time[~twice]
    if np.any(np.diff(time) < 0):
        keep = _in_step(time)
        out = rows[~keep]
        many = len(out) > max(20.0, _MOST_OUT_OF_STEP * len(rows))
        order = order_of_one_clock(time) if many else None
        if order is not None:
            behind = row_numbers[rows[1:][np.diff(time) < 0]]
            remarks.append(
                remark_rows(
                    "warning",
                    "rows-sorted",
                    "time goes back; the rows are those of one clock in another order, and are put in order",
                    "Look at how the log was sorted or put together.",
                    behind,
                )
            )
            rows, time = rows[order], time[order]
        elif many:
            back = int(np.argmin(np.diff(time)))
            step = (time[back] - time[back + 1]) * to_seconds
            return None, [
                *remarks,
                remark_rows(
                    "error",
                    "clock-starts-over",
                    f"time goes back by {step:.4g} s, and {len(out)} rows do not follow in order",
                    "Split the file there if two runs were joined; otherwise check the time column.",
                    [row_numbers[rows[back + 1]]],
                ),
            ]
        else:
            remarks.append(
                remark_rows(
                    "warning",
                    "backward-time",
                    "time out of order; left out",
                    "Look at these rows in the log.",
                    row_numbers[out],
                )
            )
            rows, time = rows[keep], time[keep]
    repeated = np.concatenate([[False], np.diff(time) == 0])
    copies = repeated.copy()
    copies[1:] &= equal_cells(cells[rows[1:]], cells[rows[:-1]]) if repeated.any() else False
    if copies.any():
        remarks.append(
            remark_rows(
                "warning",
                "repeated-rows",
                "the row above once more; left out",
                "Nothing to do: the logger wrote it twice.",
                row_numbers[rows[copies]],
            )
        )
        rows, time, repeated = rows[~copies], time[~copies], repeated[~copies]
    if full:
        spread = spread_stamps(time)
        if spread is not None:
            every = len(time) / max(int(np.count_nonzero(~repeated)), 1)
            remarks.append(
                Remark(
                    "warning",
                    "coarse-stamps",
                    f"about {every:.0f} rows share each time, from row {row_numbers[rows[0]]} to "
                    f"{row_numbers[rows[-1]]}: the clock's steps are coarse; the rows are spread evenly",
                    "Log the time to the millisecond, or the sample's number.",
                )
            )
            time, repeated = spread, np.zeros(len(time), dtype=bool)
    groups = np.flatnonzero(~repeated)
    if repeated.any():
        remarks.append(
            remark_rows(
                "warning",
                "repeated-stamps",
                "the time of the row above; each such group becomes its mean",
                "Nothing to do, unless the clock's steps are coarse by mistake.",
                row_numbers[rows[repeated]],
            )
        )
    time_s = (time[groups] - time[groups[0]]) * to_seconds
    if len(time_s) < 2:
        return None, [
            *remarks,
            Remark("error", "clock-stands", "time does not move", "Check which column is the time."),
        ]
    return Clock(time_s, rows, groups), remarks


def unwrapped(time: NDArray[np.float64], remarks: list[Remark]) -> NDArray[np.float64]:
    """A counter (n,) of 16 or 32 bits that started again at zero, continued; `remarks` are told so."""
    step = np.diff(time)
    back = np.flatnonzero(step < 0)
    if len(back) == 0 or np.any(time < 0) or np.any(time != np.floor(time)):
        return time
    ordinary = float(np.median(step[step > 0])) if np.any(step > 0) else 1.0
    for bits in _COUNTER_BITS:
        size = 2.0**bits
        wraps = back[np.abs(step[back] + size) < 100.0 * ordinary]
        if time.max() < size and len(wraps) > 0 and size > 1000.0 * ordinary:
            turns = np.zeros(len(time))
            turns[wraps + 1] = size
            remarks.append(
                Remark(
                    "note",
                    "counter-wrapped",
                    f"the time counter of {bits} bits started again at zero "
                    f"{len(wraps)} time{'s' if len(wraps) > 1 else ''}; continued",
                    "Nothing to do.",
                )
            )
            return np.asarray(time + np.cumsum(turns))
    return time


def _in_step(time: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The longest part of the rows whose time never goes back (n,); the rest are out of order."""
    tails: list[float] = []
    ends: list[int] = []
    parent = np.full(len(time), -1, dtype=np.int64)
    for i, t in enumerate(time.tolist()):
        at = bisect.bisect_right(tails, t)
        parent[i] = ends[at - 1] if at else -1
        if at == len(tails):
            tails.append(t)
            ends.append(i)
        else:
            tails[at], ends[at] = t, i
    keep = np.zeros(len(time), dtype=bool)
    i = ends[-1]
    while i >= 0:
        keep[i] = True
        i = int(parent[i])
    return keep
