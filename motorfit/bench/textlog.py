"""Reading text logs: whole clean lines at once, every other line one by one."""

from __future__ import annotations

import io
import re

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.bulk import parse_clean, pieces, smaller
from motorfit.bench.dialect import Dialect, find_dialect, split_cells
from motorfit.bench.oddlines import OddLines
from motorfit.bench.rawtable import RawTable, Remark

_HEAD_LINES = 400
_NEWLINE = 10


class UnreadableLogError(Exception):
    """A file that holds no log; the remark says why and what to do."""

    def __init__(self, kind: str, message: str, remedy: str) -> None:
        super().__init__(message)
        self.remark = Remark("error", kind, message, remedy)


def read_text(content: bytes, forced: str | None = None) -> RawTable:
    """The cells of a text log; `forced` is a delimiter that the file's name prescribes.

    Raises `UnreadableLogError` where there are no rows of numbers.
    """
    content, remarks = _plain(content)
    if not content or content.isspace():
        raise UnreadableLogError(
            "empty-file", "the file is empty", "Record the run again, or name another file."
        )
    head = [_text(line) for line in _first_lines(content)]
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


def _first_lines(content: bytes) -> list[bytes]:
    """The first few hundred lines, without cutting up the rest."""
    end = 0
    for _ in range(_HEAD_LINES):
        end = content.find(b"\n", end) + 1
        if end == 0:
            return content.split(b"\n")
    return content[: end - 1].split(b"\n")


def _text(line: bytes) -> str:
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("latin-1")  # older loggers write a degree or micro sign in one byte


def _plain(content: bytes) -> tuple[bytes, list[Remark]]:
    """UTF-8 without a byte-order mark, with plain line ends and without zeros at the end."""
    remarks: list[Remark] = []
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        content = content.decode("utf-16", errors="replace").encode()
    content = content.removeprefix(b"\xef\xbb\xbf")
    if content.endswith(b"\x00"):
        kept = content.rstrip(b"\x00")
        remarks.append(
            Remark(
                "warning",
                "zero-bytes",
                f"the file ends in {len(content) - len(kept)} zero bytes, left out",
                "The logger was cut off; check that the run is whole.",
            )
        )
        content = kept
    if b"\x00" in content[:100_000]:
        raise UnreadableLogError(
            "not-text", "the file is not text", "Give CSV or other text, Parquet or XLSX with its suffix."
        )
    if b"\r" in content:
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return content, remarks


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
        if not ends_log and dialect.delimiter is not None:
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
        odd.take(first_line + i, _text(line), is_last=i == last, is_cut=i == last and cut)
    return block, clean


def _last_cells(body: bytes, dialect: Dialect) -> list[str]:
    """Last cells of up to twenty lines before the last one."""
    tail = body[-20_001:].rstrip(b"\n").split(b"\n")[-21:-1]
    return [cells[-1] for line in tail if (cells := split_cells(_text(line), dialect.delimiter))]


def _prepared(body: bytes, dialect: Dialect) -> bytes:
    """The body with decimal points, and with nan in empty cells, ready for a parser of plain numbers."""
    if dialect.comma:
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
    seams = tuple(int(np.searchsorted(line_numbers, s)) for s in odd.seams)
    return RawTable(
        dialect.names,
        dialect.units,
        numbers,
        line_numbers + dialect.first + 1,
        texts,
        seams,
        odd.remarks(len(line_numbers)),
    )
