"""Order statistics of many rows without sorting them.

A quantile needs one or two values of a row at known ranks. The row is dealt into equal buckets between its
least and its greatest value; counts tell in which bucket a rank falls, and only that bucket is sorted. Exact,
one pass over the row for the counts and one to collect (the distribution sort of textbooks, e.g. D. E. Knuth,
The Art of Computer Programming, vol. 3, 2nd ed. 1998, section 5.2.5, stopped where nothing is asked). Where
far outliers crowd the rest into one bucket, the row is dealt again over the span of a sample of it; infinite
values are sorted with it whole.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from motorfit.compiled import kernel

__all__ = ["quantile_rows"]

Array = NDArray[np.float64]

Counts = NDArray[np.int64]

_BUCKETS = 1024
_CROWDED, _SAMPLE = 8, 128


@kernel
def _mixed(left: float, right: float, weight: float) -> float:
    # An infinite neighbour must not turn a quantile into NaN.
    return left if weight == 0.0 or left == right or left == -math.inf else left + weight * (right - left)


@kernel
def _deal(x: Array, m: int, low: float, scale: float, where: NDArray[np.uint16], count: Counts) -> None:
    """Bucket of each value, and into count[k] how many lie in the buckets before k."""
    count[:] = 0
    for s in range(m):
        at = (x[s] - low) * scale
        k = 0 if at < 0.0 else _BUCKETS - 1 if at > _BUCKETS - 1 else int(at)
        where[s] = k
        count[k + 1] += 1
    for k in range(_BUCKETS):
        count[k + 1] += count[k]


@kernel
def _mark(q: Array, m: int, count: Counts, start: Counts) -> int:
    """Where each wanted bucket begins among the values kept, -1 for the others; returns how many are kept."""
    start[:] = -1
    for j in range(q.shape[0]):
        below = int(q[j] * (m - 1))
        for rank in (below, min(below + 1, m - 1)):
            start[np.searchsorted(count, rank, side="right") - 1] = 0
    kept = 0
    for k in range(_BUCKETS):
        if start[k] == 0:
            start[k] = kept
            kept += count[k + 1] - count[k]
    return kept


@kernel
def _quantiles(x: Array, m: int, q: Array, where: NDArray[np.uint16], out: Array) -> None:
    """Linear-interpolated quantiles q of the first m values of x, none of them NaN."""
    low, high = x[0], x[0]
    for s in range(m):
        low = min(low, x[s])
        high = max(high, x[s])
    width = high - low
    scale = (_BUCKETS - 1) / width if width > 0.0 else 0.0
    if not (width < math.inf and scale < math.inf):  # infinite values, or denormal differences
        scale = 0.0
    count, start = np.zeros(_BUCKETS + 1, dtype=np.int64), np.empty(_BUCKETS, dtype=np.int64)
    if scale == 0.0:  # one bucket for all
        where[:m] = 0
        count[0], count[1:] = 0, m
    else:
        _deal(x, m, low, scale, where, count)
    kept = _mark(q, m, count, start)
    if scale > 0.0 and kept > m // _CROWDED:
        sample = np.sort(x[: m : max(m // _SAMPLE, 1)])
        if sample[-1] > sample[0] and (_BUCKETS - 1) / (sample[-1] - sample[0]) < math.inf:
            _deal(x, m, sample[0], (_BUCKETS - 1) / (sample[-1] - sample[0]), where, count)
            kept = _mark(q, m, count, start)
    some, fill = np.empty(kept), start.copy()
    for s in range(m):
        k = where[s]
        if start[k] >= 0:
            some[fill[k]] = x[s]
            fill[k] += 1
    for k in range(_BUCKETS):
        if start[k] >= 0:
            some[start[k] : fill[k]].sort()
    for j in range(q.shape[0]):
        position = q[j] * (m - 1)
        below = int(position)
        above = min(below + 1, m - 1)
        a = np.searchsorted(count, below, side="right") - 1
        b = np.searchsorted(count, above, side="right") - 1
        left, right = some[start[a] + below - count[a]], some[start[b] + above - count[b]]
        out[j] = _mixed(left, right, position - below)


@kernel
def quantile_rows(values: Array, q: Array, out: Array, finite: Counts) -> None:
    """Quantiles of each row of values that are not NaN; a row without any gives NaN.

    Parameters
    ----------
    values : (G, S)
    q : (Q,) probabilities, 0 to 1
    out : (Q, G) written
    finite : (G,) written: how many values of a row are not NaN
    """
    rows, size = values.shape
    x, one = np.empty(size), np.empty(q.shape[0])
    where = np.empty(size, dtype=np.uint16)
    for g in range(rows):
        m = 0
        for s in range(size):
            x[m] = values[g, s]
            m += 1 if x[m] == x[m] else 0
        finite[g] = m
        if m == 0:
            out[:, g] = math.nan
            continue
        _quantiles(x, m, q, where, one)
        out[:, g] = one
