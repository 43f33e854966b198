"""Large text logs: cut into pieces at line ends, the clean pieces parsed whole by Arrow.

A piece is taken whole only where nothing in it asks for a closer look; any other goes the careful way, line
by line, so that a log of a million rows with one odd line costs one careful piece.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.arrowcells import floats_of, integers_of

__all__ = ["LARGE", "PIECE", "STAMPED", "TAIL", "Piece", "parse_clean", "pieces", "smaller"]

LARGE = 3_000_000
"""Bytes from which a log is cut into pieces; below, importing Arrow costs more than it saves."""

STAMPED = 300_000
"""The same of a log whose lines hold dates or times of day."""

PIECE = 1 << 22
_BLOCK = 1 << 20
"""Bytes that one thread parses at a time."""

_SMALLEST = 1 << 17
TAIL = 1 << 16


class Piece(NamedTuple):
    """Whole lines, body[start:end]; `last` where the log ends with them, `cut` where it lacked a line end."""

    body: bytes
    start: int
    end: int
    last: bool = False
    cut: bool = False

    def lines(self) -> int:
        """How many lines it has."""
        return self.body.count(b"\n", self.start, self.end)


def pieces(body: bytes, start: int, cut: bool, stamped: bool = False) -> Iterator[Piece]:
    """The body from `start` on in pieces that end at line ends; the last is short.

    The last line may be `cut`, so its piece always goes the careful way. `stamped` says that every line has a
    date or a time of day, which makes that way long.
    """
    size = len(body)
    if size - start <= (min(LARGE, STAMPED) if stamped else LARGE):
        yield Piece(body, start, size, True, cut)
        return
    tail = max(body.rfind(b"\n", start, size - TAIL) + 1, start)
    while start < tail:
        end = tail if tail - start <= PIECE else body.rfind(b"\n", start, start + PIECE) + 1
        if end <= start:  # no line end in a whole piece: the careful way will say so
            end = tail
        yield Piece(body, start, end)
        start = end
    yield Piece(body, tail, size, True, cut)


def smaller(piece: Piece) -> list[Piece]:
    """A piece with something odd in it, in four parts that end at line ends; in one where it is small."""
    body, start, end, last, cut = piece
    if end - start <= _SMALLEST:
        return [piece]
    size = (end - start + 3) // 4
    parts = []
    while start < end:
        stop = end if end - start <= size else body.find(b"\n", start + size - 1, end) + 1
        parts.append(Piece(body, start, stop, last and stop == end, cut and stop == end))
        start = stop
    return parts


def parse_clean(
    piece: Piece,
    delimiter: str,
    comma: bool,
    into: NDArray[np.float64],
    stamped: Mapping[int, str] = MappingProxyType({}),
    begin: dict[int, int] | None = None,
) -> bool:
    """Lines of a piece as float64 into `into` (rows, width), NaN where a cell is empty or says nan.

    Columns that are `stamped`, by the form of their stamps, are seconds from `begin` [ns]; where it is not
    there yet, from their first one, which `begin` is then told.

    False, with no more than rubbish in `into`, where any line is not as many cells of plain numbers: blank
    lines, comments, text, odd widths, signs of infinity; or where there are not as many lines.
    """
    import pyarrow as pa
    from pyarrow import csv

    rows, width = into.shape
    names = [str(i) for i in range(width)]
    kinds = dict.fromkeys(names, pa.float64())
    stamp_kinds = {"plain": pa.timestamp("ns"), "zoned": pa.timestamp("ns", "UTC"), "clock": pa.time64("ns")}
    kinds |= {str(k): stamp_kinds[form] for k, form in stamped.items()}
    view = memoryview(piece.body)[piece.start : piece.end]
    try:
        table = csv.read_csv(
            pa.BufferReader(pa.py_buffer(view)),
            read_options=csv.ReadOptions(column_names=names, block_size=_BLOCK),
            parse_options=csv.ParseOptions(delimiter=delimiter, quote_char=False, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                column_types=kinds,
                null_values=["", "nan", "NaN"],
                decimal_point="," if comma else ".",
            ),
        )
    except (pa.ArrowException, ValueError):
        return False
    if table.num_rows != rows:
        return False
    whole = False  # whether some column has a number in every row
    for k in stamped:
        chunks = table.column(k).chunks
        if any(chunk.null_count for chunk in chunks):
            return False
        nanoseconds = np.concatenate([integers_of(chunk) for chunk in chunks])
        begin = {} if begin is None else begin
        into[:, k] = (nanoseconds - begin.setdefault(k, int(nanoseconds[0]))) * 1e-9
        whole = True
    for i, name in enumerate(names):
        if i in stamped:
            continue
        at = 0
        for chunk in table.column(name).chunks:
            into[at : at + len(chunk), i] = floats_of(chunk)
            at += len(chunk)
        # a sum is finite where every number is; only else is it worth looking for infinities
        with np.errstate(over="ignore", invalid="ignore"):
            total = into[:, i].sum()
        if np.isfinite(total):
            whole = True
        elif np.isinf(into[:, i]).any():
            return False
    # a line of no cells at all reads as a row of missing ones: it is blank, and to be named as such
    return whole or not np.isnan(into).all(axis=1).any()
