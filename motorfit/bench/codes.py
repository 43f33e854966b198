"""Numbers that stand for no number: what sensors and loggers write when they have nothing to say."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["fault_codes"]

_CODES = (
    255.0,  # all bits of 8
    65_535.0,  # of 16
    4_294_967_295.0,  # of 32
    32_767.0,  # the ends of 16 and 32 bits with a sign
    -32_768.0,
    2_147_483_647.0,
    -2_147_483_648.0,
    -999.0,
    -9999.0,
    9999.0,
    99_999.0,
    -127.0,  # a temperature sensor that does not answer
)
_FEWEST = 10


def fault_codes(raw: NDArray[np.float64]) -> tuple[NDArray[np.bool_], tuple[float, ...]]:
    """Which of the numbers (n,) as logged are codes for a fault, and which codes those are.

    A number counts as a code where it is one of the usual ones and lies beyond all others by half of their
    whole range at least: a channel that grows to 255, or stays there as its largest value, has none.
    """
    mask = np.zeros(len(raw), dtype=bool)
    known = raw[np.isfinite(raw)]
    # beyond all others: so the largest or the smallest number is one
    if known.size == 0 or not {float(known.min()), float(known.max())} & set(_CODES):
        return mask, ()
    rest = raw[np.isfinite(raw) & ~np.isin(raw, _CODES)]
    if len(rest) < _FEWEST:
        return mask, ()
    low, high = float(rest.min()), float(rest.max())
    margin = 0.5 * max(high - low, 0.05 * max(abs(low), abs(high)), 1.0)
    found: list[float] = []
    for code in _CODES:
        here = raw == code
        if not here.any() or np.count_nonzero(here) > len(rest):
            continue
        if code > high + margin or code < low - margin:
            mask |= here
            found.append(code)
    return mask, tuple(found)
