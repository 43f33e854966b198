"""Order statistics of many rows without sorting them.

A quantile needs one or two values of a row at known ranks. Neighbouring rows of a curve have their quantiles
at nearly the same place, counted in standard deviations from the mean; so the values near there are taken
out, and those below counted, in single precision, which vector instructions do fast. Rounding keeps the
order, so the counts are right; the few values taken out are then looked at as they are, and the result is
exact whatever was foreseen.

A row with infinite or huge values is dealt into equal buckets between its least and its greatest value, and
only the bucket that holds the rank is sorted (the distribution sort of textbooks, e.g. D. E. Knuth, The Art
of Computer Programming, vol. 3, 2nd ed. 1998, section 5.2.5, stopped where nothing is asked).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from motorfit.compiled import kernel
from motorfit.lanes import KEYS, below, first_of, how_many

__all__ = ["quantile_rows"]

Array = NDArray[np.float64]

Counts = NDArray[np.int64]
Keys = NDArray[np.float32]

_BUCKETS = 1024
_CROWDED, _SAMPLE = 8, 128
_FEW, _LOOKS = 40, 8
_ONE = np.uint64(1)

_HUGE = 1e35
"""Values about this size are dealt with in double precision alone."""


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
        least = int(q[j] * (m - 1))
        for rank in (least, min(least + 1, m - 1)):
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
        rank = int(position)
        above = min(rank + 1, m - 1)
        a = np.searchsorted(count, rank, side="right") - 1
        b = np.searchsorted(count, above, side="right") - 1
        left, right = some[start[a] + rank - count[a]], some[start[b] + above - count[b]]
        out[j] = _mixed(left, right, position - rank)


@kernel
def _order(x: Array, n: int, k: int) -> float:
    """Put the k-th least of the first n values of x in its place, no less ones after it; return it."""
    low, high = 0, n - 1
    while low < high:
        pivot, i, j = x[(low + high) // 2], low, high
        while i <= j:
            while x[i] < pivot:
                i += 1
            while pivot < x[j]:
                j -= 1
            if i <= j:
                x[i], x[j] = x[j], x[i]
                i += 1
                j -= 1
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            break
    kth: float = x[k]
    return kth


@kernel
def _counts(keys: Keys, m: int, marks: Keys, count: Counts) -> None:
    """How many of the first m keys are below each of four marks."""
    one, none = np.float32(1.0), np.float32(0.0)
    a, b, c, d = none, none, none, none
    for s in range(m):
        key = keys[s]
        a += one if key < marks[0] else none
        b += one if key < marks[1] else none
        c += one if key < marks[2] else none
        d += one if key < marks[3] else none
    count[0], count[1], count[2], count[3] = int(a), int(b), int(c), int(d)


@kernel
def _between(keys: Keys, x: Array, low: np.float32, high: np.float32, some: Array) -> tuple[int, int]:
    """Values whose keys are from ``low`` to below ``high`` into some; returns how many are below, and
    how many these are.

    ``keys`` are as many as a multiple of KEYS, those after the last value infinite.
    """
    kept, under = 0, 0
    for first in range(0, keys.shape[0], KEYS):
        less = below(keys, first, low)
        under += how_many(less)
        inside = below(keys, first, high) & ~less
        while inside:
            some[kept] = x[first + first_of(inside)]
            kept += 1
            inside &= inside - _ONE
    return under, kept


@kernel
def _neighbours(some: Array, kept: int, k: int, more: bool) -> tuple[float, float]:
    """The k-th least of the first values of some, and the next one where ``more``."""
    left = _order(some, kept, k)
    right = left
    if more:
        right = some[k + 1]
        for s in range(k + 2, kept):
            right = min(right, some[s])
    return left, right


@kernel
def _about(
    keys: Keys, m: int, rank: int, above: int, at: float, wide: float, left: bool
) -> tuple[np.float32, np.float32]:
    """Two marks with few values between them, those of the rank and of the one above among them.

    They are not within ``wide`` of ``at``, but to the left, or to the right of there.
    """
    marks, count = np.empty(4, dtype=np.float32), np.empty(4, dtype=np.int64)
    low, high, under, over = np.float32(-math.inf), np.float32(math.inf), 0, m
    at += -2.0 * wide if left else 2.0 * wide
    tight, wide = wide, 2.0 * wide
    for _ in range(_LOOKS):
        marks[0], marks[1], marks[2], marks[3] = at - wide, at - tight, at + tight, at + wide
        _counts(keys, m, marks, count)
        for j in range(4):
            if count[j] <= rank and marks[j] > low:
                low, under = marks[j], count[j]
            elif count[j] > above and marks[j] < high:
                high, over = marks[j], count[j]
        held = over - under
        if held <= _FEW:
            break
        if low > -math.inf and high < math.inf:
            # by the share of the rank between the two, with room for what that leaves open
            step = (float(high) - float(low)) / held
            at = float(low) + (rank + 1 - under) * step
            tight, wide = 4.0 * step, max(12.0, 1.5 * math.sqrt(held)) * step
        else:
            at = float(low if low > -math.inf else high)
            at += 2.0 * wide if low > -math.inf else -2.0 * wide
            tight, wide = wide, 2.0 * wide
    return low, high


@kernel
def _foreseen(
    keys: Keys, x: Array, m: int, q: float, center: float, scale: float, seen: Array, some: Array
) -> float:
    """Linear-interpolated quantile q of the first m values of x, all finite and not all equal.

    ``seen`` (2,) holds where it stood in the row before, in ``scale`` from ``center``, and within what doubt.
    Values within that doubt are taken out. Where the rank is not among them, four marks are counted out, and
    moved, until few values remain between two about the rank.
    """
    position = q * (m - 1)
    rank = int(position)
    above = min(rank + 1, m - 1)
    z, doubt = seen[0], seen[1]
    if not abs(z) < 100.0:
        z = min(max(math.log((q + 1e-3) / (1.0 - q + 1e-3)) / 1.7, -4.0), 4.0)
        doubt = 0.2
    at, wide = center + z * scale, doubt * scale
    low, high = np.float32(at - wide), np.float32(at + wide)
    under, kept = _between(keys, x, low, high, some)
    if not under <= rank <= above < under + kept:
        low, high = _about(keys, m, rank, above, at, wide, under > rank)
        under, kept = _between(keys, x, low, high, some)
    left, right = _neighbours(some, kept, rank - under, above > rank)
    found = _mixed(left, right, position - rank)
    now = (found - center) / scale
    density = (kept + 1.0) / (float(high) - float(low)) * scale
    seen[1] = min(max(2.0 * abs(now - seen[0]), 8.0 / density), 0.5)
    if not seen[1] > 0.0:
        seen[1] = 0.2
    seen[0] = now
    return found


@kernel
def _row(x: Array, m: int, q: Array, keys: Keys, some: Array, seen: Array, out: Array) -> bool:
    """Quantiles q of the first m values of x into out; False where some of these are not finite."""
    first, total, square = x[0], 0.0, 0.0
    for s in range(m):
        keys[s] = x[s]
        apart = x[s] - first
        total += apart
        square += apart * apart
    keys[m:] = np.float32(math.inf)
    if not (square < _HUGE * _HUGE and abs(first) < _HUGE) or (
        square == 0.0 and np.min(x[:m]) < np.max(x[:m])
    ):
        return False  # the second: differences whose squares vanish
    mean = total / m
    scale = math.sqrt(max(square / m - mean * mean, 0.0))
    for j in range(q.shape[0]):
        out[j] = first if square == 0.0 else _foreseen(keys, x, m, q[j], first + mean, scale, seen[j], some)
    return True


@kernel
def quantile_rows(values: Array, q: Array, out: Array, finite: Counts, seen: Array) -> None:
    """Quantiles of each row of values that are not NaN; a row without any gives NaN.

    Parameters
    ----------
    values : (C, G, S), the rows of C curves
    q : (Q,) probabilities, 0 to 1
    out : (C, Q, G) written
    finite : (C, G) written: how many values of a row are not NaN
    seen : (C, Q, 2) where the quantiles stood in the row before, NaN for none, read and written; it tells
        where to look first, and changes no result
    """
    curves, rows, size = values.shape
    some, one = np.empty(size), np.empty(q.shape[0])
    keys = np.empty((size + KEYS - 1) // KEYS * KEYS, dtype=np.float32)
    for c in range(curves):
        for g in range(rows):
            row, m = values[c, g], size
            done = size > 0 and _row(row, size, q, keys, some, seen[c], one)
            if not done:
                x, m = np.empty(size), 0
                for s in range(size):
                    x[m] = row[s]
                    m += 1 if x[m] == x[m] else 0
                if m == 0:
                    one[:] = math.nan
                elif not _row(x, m, q, keys, some, seen[c], one):
                    _quantiles(x, m, q, np.empty(m, dtype=np.uint16), one)
            finite[c, g] = m
            out[c, :, g] = one
