"""Reading text logs: whole clean lines at once, every other line one by one."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.bulk import Piece, parse_clean, pieces, smaller
from motorfit.bench.dialect import Dialect, find_dialect, split_cells
from motorfit.bench.gathered import Rows, in_order
from motorfit.bench.oddlines import OddLines
from motorfit.bench.plaintext import UnreadableLogError, first_lines, plain_text, text_of, without_frame
from motorfit.bench.rawtable import RawTable

__all__ = ["UnreadableLogError", "after_lines", "dialect_of", "read_pieces", "read_text"]

_NEWLINE = 10


def read_text(content: bytes, forced: str | None = None) -> RawTable:
    """The cells of a text log; `forced` is a delimiter that the file's name prescribes.

    Raises `UnreadableLogError` where there are no rows of numbers.
    """
    content, remarks = plain_text(content)
    if not content or content.isspace():
        raise UnreadableLogError(
            "empty-file", "the file is empty", "Record the run again, or name another file."
        )
    content = without_frame(content)
    dialect = dialect_of(content, forced)
    cut = not content.endswith(b"\n")
    body = content + b"\n" if cut else content
    del content
    start = after_lines(body, dialect.first)
    table = read_pieces(pieces(body, start, cut, bool(dialect.stamped)), body.count(b"\n", start), dialect)
    table.remarks[:0] = [*remarks, *dialect.remarks]
    return table


def dialect_of(content: bytes, forced: str | None) -> Dialect:
    """How plain text is written, by its first lines; raises `UnreadableLogError`."""
    dialect = find_dialect([text_of(line) for line in first_lines(content)], forced)
    if dialect is None:
        raise UnreadableLogError(
            "no-numbers",
            "no line holds two numbers or more",
            "Name a log of numbers in columns: CSV, TSV, semicolons or blanks between them.",
        )
    return dialect


def after_lines(content: bytes, count: int) -> int:
    """Where the first `count` lines end."""
    offset = 0
    for _ in range(count):
        offset = content.index(b"\n", offset) + 1
    return offset


def read_pieces(cuts: Iterable[Piece], lines: int, dialect: Dialect) -> RawTable:
    """The rows of data, from the first whole one to the end, in pieces, the last of them marked as such.

    `lines` is about how many lines there are: room is made for so many, and for more where there are more.
    """
    odd = OddLines(dialect)
    rows = Rows(lines, dialect.width)
    first_line = 0
    fast = dialect.delimiter is not None and not _quoted_commas(dialect)
    for cut in cuts:
        todo = [cut]
        while todo:
            piece = todo.pop()
            if fast and not piece.last and dialect.delimiter is not None:
                count = piece.lines()
                room, stamped = rows.room(count), dialect.stamped
                if parse_clean(piece, dialect.delimiter, dialect.comma, room, stamped, rows.begin):
                    rows.take(np.arange(first_line, first_line + count))
                    first_line += count
                    continue
            parts = smaller(piece)
            if len(parts) > 1:
                todo += reversed(parts)
                continue
            block, clean = _careful(piece, first_line, odd, dialect)
            rows.room(len(block))[:] = block
            rows.take(first_line + np.flatnonzero(clean))
            first_line += len(clean)
        if cut.cut:
            odd.judge_last(_last_cells(cut.body, dialect))
    return in_order(rows, odd, dialect)


def _careful(
    piece: Piece, first_line: int, odd: OddLines, dialect: Dialect
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The clean lines of a piece at once, every other one by one; which lines were clean."""
    body = piece.body[piece.start : piece.end]
    fast = _prepared(body, dialect)
    clean, starts, ends = _clean_lines(fast, dialect)
    clean &= not _quoted_commas(dialect)
    if piece.cut:
        clean[-1] = False
    block = _parse_block(_picked(fast, clean, starts, ends), dialect, int(clean.sum()))
    if block is None:  # right characters in the wrong order, such as 1-2 or 1.2.3
        clean[:] = False
        block = np.empty((0, dialect.width))
    source = body if len(fast) == len(body) else None
    lines = body.split(b"\n") if source is None else None
    last = len(clean) - 1 if piece.last else -1
    for i in np.flatnonzero(~clean).tolist():
        line = lines[i] if lines is not None else body[starts[i] : ends[i]]
        odd.take(first_line + i, text_of(line), is_last=i == last, is_cut=i == last and piece.cut)
    return block, clean


def _quoted_commas(dialect: Dialect) -> bool:
    """Whether commas stand in quotes for decimal signs and without them between cells."""
    return dialect.comma and dialect.delimiter == ","


def _last_cells(body: bytes, dialect: Dialect) -> list[str]:
    """Last cells of up to twenty lines before the last one."""
    tail = body[-20_001:].rstrip(b"\n").split(b"\n")[-21:-1]
    return [cells[-1] for line in tail if (cells := split_cells(text_of(line), dialect.delimiter))]


def _prepared(body: bytes, dialect: Dialect) -> bytes:
    """The body with decimal points, and with nan in empty cells, ready for a parser of plain numbers."""
    if dialect.comma and not _quoted_commas(dialect):
        body = body.replace(b".", b"?").replace(b",", b".")
    if dialect.delimiter is not None:
        d = dialect.delimiter.encode()
        if d + d in body or d + b"\n" in body or b"\n" + d in body or body.startswith(d):
            body = re.sub(rb"(?<=" + d + rb")(?=" + d + rb"|\n)", b"nan", body)
            body = re.sub(rb"(?m)^(?=" + d + rb")", b"nan", body)
    return body


def _clean_lines(
    body: bytes, dialect: Dialect
) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.int64]]:
    """Which lines hold `width` cells of nothing but plain numbers; where each starts and ends."""
    buffer = np.frombuffer(body, dtype=np.uint8)
    ends = np.flatnonzero(buffer == _NEWLINE)
    starts = np.concatenate([[0], ends[:-1] + 1])
    plain = np.zeros(256, dtype=bool)
    plain[list(b"0123456789+-.eEnaN \n")] = True
    if dialect.delimiter is None:
        plain[9] = True
        blank = (buffer == 32) | (buffer == 9) | (buffer == _NEWLINE)
        begins = ~blank
        begins[1:] &= blank[:-1]
        cells = np.add.reduceat(begins, starts, dtype=np.int64)
    else:
        code = ord(dialect.delimiter)
        plain[code] = True
        cells = np.add.reduceat(buffer == code, starts, dtype=np.int64) + 1
    odd = np.add.reduceat(~plain[buffer], starts, dtype=np.int64)
    clean = (odd == 0) & (cells == dialect.width) & (ends > starts)
    return clean, starts, ends


def _picked(
    body: bytes, clean: NDArray[np.bool_], starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> bytes:
    if clean.all():
        return body
    edges = np.flatnonzero(np.diff(np.concatenate([[False], clean, [False]]).astype(np.int8)))
    return b"".join(body[starts[a] : ends[b - 1] + 1] for a, b in edges.reshape(-1, 2))


def _parse_block(block: bytes, dialect: Dialect, rows: int) -> NDArray[np.float64] | None:
    """Clean lines to float64 (rows, width); None where some cell is no number after all."""
    if rows == 0:
        return np.empty((0, dialect.width))
    try:
        numbers = np.loadtxt(
            io.BytesIO(block), delimiter=dialect.delimiter, comments=None, ndmin=2, encoding="latin-1"
        )
    except ValueError:
        return None
    return numbers if numbers.shape == (rows, dialect.width) else None
