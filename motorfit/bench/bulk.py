"""Large text logs: cut into pieces at line ends, the clean pieces parsed whole by Arrow.

A piece is taken whole only where nothing in it asks for a closer look; any other goes the careful way, line
by line, so that a log of a million rows with one odd line costs one careful piece.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

__all__ = ["LARGE", "careful_pieces", "parse_clean", "pieces"]

LARGE = 3_000_000
"""Bytes from which a log is cut into pieces; below, importing Arrow costs more than it saves."""

_PIECE = 1 << 21
_CAREFUL_PIECE = 1 << 19
_TAIL = 1 << 16


def pieces(body: bytes, start: int = 0) -> Iterator[tuple[int, int]]:
    """(start, end) of each piece of the body from `start` on, all ending at a line end; the last is short.

    The last line may be cut, so its piece always goes the careful way.
    """
    size = len(body)
    if size - start <= LARGE:
        yield start, size
        return
    tail = max(body.rfind(b"\n", start, size - _TAIL) + 1, start)
    while start < tail:
        end = tail if tail - start <= _PIECE else body.rfind(b"\n", start, start + _PIECE) + 1
        if end <= start:  # no line end in a whole piece: the careful way will say so
            end = tail
        yield start, end
        start = end
    yield tail, size


def careful_pieces(body: bytes, start: int, end: int) -> Iterator[tuple[int, int]]:
    """A piece that needs a closer look, in smaller ones, so that its temporary arrays stay small."""
    while start < end:
        stop = end if end - start <= _CAREFUL_PIECE else body.rfind(b"\n", start, start + _CAREFUL_PIECE) + 1
        if stop <= start:
            stop = end
        yield start, stop
        start = stop


def parse_clean(
    body: bytes, start: int, end: int, delimiter: str, comma: bool, width: int
) -> NDArray[np.float64] | None:
    """Lines of body[start:end] as float64 (rows, width), NaN where a cell is empty or says nan.

    None where any line is not `width` cells of plain numbers: blank lines, comments, text, odd widths, signs
    of infinity.
    """
    import pyarrow as pa
    from pyarrow import csv

    names = [str(i) for i in range(width)]
    view = memoryview(body)[start:end]
    try:
        table = csv.read_csv(
            pa.BufferReader(pa.py_buffer(view)),
            read_options=csv.ReadOptions(column_names=names, block_size=1 << 19),
            parse_options=csv.ParseOptions(delimiter=delimiter, quote_char=False, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.float64()),
                null_values=["", "nan", "NaN"],
                decimal_point="," if comma else ".",
            ),
        )
    except (pa.ArrowException, ValueError):
        return None
    numbers = np.empty((table.num_rows, width), order="F")
    for i, name in enumerate(names):
        at = 0
        for chunk in table.column(name).chunks:
            numbers[at : at + len(chunk), i] = chunk.to_numpy(zero_copy_only=False)
            at += len(chunk)
    if table.num_rows != body.count(b"\n", start, end) or np.isinf(numbers).any():
        return None
    # a line of no cells at all reads as a row of missing ones: it is blank, and to be named as such
    return None if np.isnan(numbers).all(axis=1).any() else numbers
