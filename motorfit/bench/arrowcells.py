"""Arrow's columns as numpy arrays, by their buffers: Arrow's own way imports a library that nobody needs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["floats_of", "integers_of", "known_of"]


def known_of(chunk: Any) -> NDArray[np.bool_]:
    """Which of a chunk's cells hold something, bool (n,)."""
    bits = chunk.buffers()[0]
    if bits is None or not chunk.null_count:
        return np.ones(len(chunk), dtype=bool)
    known = np.unpackbits(np.frombuffer(bits, dtype=np.uint8), bitorder="little")
    return known[chunk.offset : chunk.offset + len(chunk)].astype(bool)


def floats_of(chunk: Any) -> NDArray[np.float64]:
    """A chunk of float64 cells, (n,), NaN where there is none; of Arrow's own memory where all are."""
    values = _values(chunk, np.float64)
    return np.where(known_of(chunk), values, np.nan) if chunk.null_count else values


def integers_of(chunk: Any) -> NDArray[np.int64]:
    """A chunk of cells of 64 bits as int64 (n,), anything where there is none."""
    return _values(chunk, np.int64)


def _values(chunk: Any, kind: Any) -> NDArray[Any]:
    if len(chunk) == 0:
        return np.empty(0, dtype=kind)
    return np.frombuffer(chunk.buffers()[1], dtype=kind, count=len(chunk), offset=8 * chunk.offset)
