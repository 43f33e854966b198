"""Reading text logs: whole clean lines at once, every other line one by one."""

from __future__ import annotations

import io
import re

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.bulk import parse_clean, pieces, smaller
from motorfit.bench.dialect import Dialect, find_dialect, split_cells
from motorfit.bench.labels import unit_of
from motorfit.bench.oddlines import OddLines
from motorfit.bench.plaintext import UnreadableLogError, first_lines, plain_text, text_of, without_frame
from motorfit.bench.rawtable import RawTable, Remark, value_with_unit

__all__ = ["UnreadableLogError", "read_text"]

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
    head = [text_of(line) for line in first_lines(content)]
    dialect = find_dialect(head, forced)
    if dialect is None:
        raise UnreadableLogError(
            "no-numbers",
            "no line holds two numbers or more",
            "Name a log of numbers in columns: CSV, TSV, semicolons or blanks between them.",
        )
    offset = 0
    for _ in range(dialect.first):
        offset = content.index(b"\n", offset) + 1
    table = _body(content, offset, dialect)
    table.remarks[:0] = [*remarks, *dialect.remarks]
    return table


def _body(content: bytes, offset: int, dialect: Dialect) -> RawTable:
    """The rows of data from the first whole one, at `offset`, to the end."""
    whole_last_line = content.endswith(b"\n")
    body = content if whole_last_line else content + b"\n"
    del content
    odd = OddLines(dialect)
    cuts = [(start, end, body.count(b"\n", start, end)) for start, end in pieces(body, offset)]
    most = sum(count for _, _, count in cuts)
    # by column, since that is how a log is used; and once, since a large log is not to stand twice in memory
    numbers = np.empty((most, dialect.width), order="F")
    lines = np.empty(most, dtype=np.int64)
    taken = first_line = 0
    cuts.reverse()
    while cuts:
        start, end, count = cuts.pop()
        ends_log = end == len(body)
        if not ends_log and dialect.delimiter is not None and not _quoted_commas(dialect):
            into = numbers[taken : taken + count]
            if parse_clean(body, start, end, dialect.delimiter, dialect.comma, into):
                lines[taken : taken + count] = np.arange(first_line, first_line + count)
                taken += count
                first_line += count
                continue
        parts = smaller(body, start, end)
        if len(parts) > 1:
            cuts += [(a, b, body.count(b"\n", a, b)) for a, b in reversed(parts)]
            continue
        block, clean = _careful(body[start:end], first_line, odd, dialect, ends_log, whole_last_line)
        numbers[taken : taken + len(block)] = block
        lines[taken : taken + len(block)] = first_line + np.flatnonzero(clean)
        taken += len(block)
        first_line += len(clean)
    if not whole_last_line:
        odd.judge_last(_last_cells(body, dialect))
    return _merged(numbers, lines, taken, odd, dialect)


def _careful(
    body: bytes, first_line: int, odd: OddLines, dialect: Dialect, ends_log: bool, whole_last_line: bool
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The clean lines of a piece at once, every other one by one; which lines were clean."""
    fast = _prepared(body, dialect)
    clean, starts, ends = _clean_lines(fast, dialect)
    clean &= not _quoted_commas(dialect)
    cut = ends_log and not whole_last_line
    if cut:
        clean[-1] = False
    block = _parse_block(_picked(fast, clean, starts, ends), dialect, int(clean.sum()))
    if block is None:  # right characters in the wrong order, such as 1-2 or 1.2.3
        clean[:] = False
        block = np.empty((0, dialect.width))
    source = body if len(fast) == len(body) else None
    lines = body.split(b"\n") if source is None else None
    last = len(clean) - 1 if ends_log else -1
    for i in np.flatnonzero(~clean).tolist():
        line = lines[i] if lines is not None else body[starts[i] : ends[i]]
        odd.take(first_line + i, text_of(line), is_last=i == last, is_cut=i == last and cut)
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


def _merged(
    numbers: NDArray[np.float64], lines: NDArray[np.int64], clean: int, odd: OddLines, dialect: Dialect
) -> RawTable:
    """The `clean` rows and after them the rows among the odd lines, put into the file's order."""
    rows = clean + len(odd.positions)
    numbers[clean:rows] = np.array(odd.values, dtype=float).reshape(len(odd.values), dialect.width)
    lines[clean:rows] = odd.positions
    numbers, line_numbers = numbers[:rows], lines[:rows]
    texts: dict[int, dict[int, str]] = {}
    if odd.positions:
        order = np.argsort(line_numbers, kind="stable")
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        for i, column, text in odd.texts:
            texts.setdefault(column, {})[int(place[clean + i])] = text
        line_numbers = line_numbers[order]
        for column in range(dialect.width):
            numbers[:, column] = numbers[order, column]
    units = _units_in_cells(numbers, texts, dialect)
    seams = tuple(int(np.searchsorted(line_numbers, s)) for s in odd.seams)
    remarks = odd.remarks(len(line_numbers))
    if units:
        remarks.append(
            Remark(
                "note",
                "unit-in-cells",
                "each cell holds its unit: " + ", ".join(sorted(set(units.values()))),
                "Nothing to do; a unit is best written once, in the header.",
            )
        )
    cells = list(dialect.units or ("",) * dialect.width)
    for column, unit in units.items():
        cells[column] = cells[column] or unit
    return RawTable(
        dialect.names,
        tuple(cells) if units or dialect.units is not None else None,
        numbers,
        line_numbers + dialect.first + 1,
        texts,
        seams,
        remarks,
    )


def _units_in_cells(
    numbers: NDArray[np.float64], texts: dict[int, dict[int, str]], dialect: Dialect
) -> dict[int, str]:
    """Columns whose cells are numbers with one and the same unit: made numbers; their units by position.

    Where the header states another unit, or a few cells only hold one, they stay text.
    """
    units: dict[int, str] = {}
    for column, cells in list(texts.items()):
        read = {row: value_with_unit(text, dialect.comma) for row, text in cells.items()}
        found = {r: v for r, v in read.items() if v is not None}
        said = {unit for _, unit in found.values()}
        stated = None if dialect.names is None else unit_of(dialect.names[column])
        if len(said) != 1 or len(found) < 0.5 * len(numbers):
            continue
        unit = said.pop()
        if stated and stated.casefold() != unit.casefold():
            continue
        units[column] = unit
        for row, (value, _) in found.items():
            numbers[row, column] = value
        texts[column] = {row: text for row, text in cells.items() if row not in found}
        if not texts[column]:
            del texts[column]
    return units
