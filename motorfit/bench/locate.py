"""Where in a log something was found: its times and its line numbers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypedDict

from motorfit.bench.findings import MOST_ROWS
from motorfit.bench.logs import RunLog

__all__ = ["Place", "between", "those"]


class Place(TypedDict):
    """The part of a `Finding` that says where: times [s], line numbers (the first hundred)."""

    start_s: float | None
    end_s: float | None
    rows: tuple[int, ...] | None


def those(log: RunLog, samples: Sequence[int]) -> Place:
    """The place of some samples, in order, of a log."""
    rows = None if log.rows is None else tuple(int(log.rows[i]) for i in samples[:MOST_ROWS])
    if log.time_s is None:
        return Place(start_s=None, end_s=None, rows=rows)
    return Place(start_s=float(log.time_s[samples[0]]), end_s=float(log.time_s[samples[-1]]), rows=rows)


def between(log: RunLog, first: int, last: int) -> Place:
    """The place of a stretch of samples: its times, and the line numbers of its two ends."""
    return those(log, [first, last])
