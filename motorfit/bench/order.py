"""Rows that stand in another order than their times: put in order where one clock ran through them."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

__all__ = ["order_of_one_clock"]

_FEW_PARTS = 20
_EVEN = 0.3
"""Share of the usual step by which steps of one clock may differ."""

_MOST_UNEVEN = 0.02
_SHORTEST, _LONGEST = 0.1, 5.0
"""Of the usual step."""


def order_of_one_clock(time: NDArray[np.float64]) -> NDArray[np.int64] | None:
    """The order (n,) in which times (n,) go forward; None where they need not be those of one run.

    Rows of one clock in another order, turned about, shuffled, or blocks exchanged, have even steps once they
    are sorted, and no time twice.  Two runs joined share times, or leave a gap.
    """
    order = np.argsort(time, kind="stable")
    steps = np.diff(time[order])
    usual = float(np.median(steps)) if steps.size else 0.0
    if steps.size < 20 or usual <= 0.0:
        return None
    if float(steps.min()) < _SHORTEST * usual or float(steps.max()) > _LONGEST * usual:
        return None
    if np.mean(np.abs(steps - usual) > _EVEN * usual) > _MOST_UNEVEN:
        return None
    moves = np.diff(time)
    cuts = np.flatnonzero((moves < 0) | (moves > _LONGEST * usual))
    if len(cuts) <= _FEW_PARTS and not _apart(time, cuts):
        return None
    return order


def _apart(time: NDArray[np.float64], cuts: NDArray[np.int64]) -> bool:
    """Whether the stretches between leaps in time cover spans that do not overlap."""
    parts = np.split(time, cuts + 1)
    spans = sorted((float(p[0]), float(p[-1])) for p in parts)
    return all(a[1] < b[0] for a, b in itertools.pairwise(spans))
