"""Reading logs from spreadsheets, row by row: cells of numbers as they are, every other row as text."""

from __future__ import annotations

import datetime as dt
import io
import itertools
import math
from array import array
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from motorfit.bench.dialect import Dialect, decimal_signs, find_dialect
from motorfit.bench.gathered import Rows, in_order
from motorfit.bench.oddlines import OddLines
from motorfit.bench.plaintext import HEAD_LINES, UnreadableLogError
from motorfit.bench.rawtable import RawTable, Remark, cell_value, remark_rows, value_with_unit

Row = Sequence[Any]
"""A row's values up to the last that is not empty: numbers, texts, None."""

_LARGEST_INT = 10**300


def read_spreadsheet(content: bytes) -> RawTable:
    """The first sheet with cells of an XLSX file; raises `UnreadableLogError`."""
    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (
        Exception
    ):  # a zip of something else, a cut file, a workbook of another make: all the same to the user
        raise _not_a_spreadsheet() from None
    try:
        filled = [sheet for sheet in book.worksheets if any(_rows(sheet))]
        if not filled:
            raise UnreadableLogError(
                "empty-file", "the workbook has no cells", "Record the run again, or name another file."
            )
        table = _read_sheet(_rows(filled[0]))
    except UnreadableLogError:
        raise
    except Exception:  # the library raises whatever a damaged sheet makes it stumble over
        raise _not_a_spreadsheet() from None
    finally:
        book.close()
    if len(filled) > 1:
        others = ", ".join(f'"{sheet.title}"' for sheet in filled[1:])
        table.remarks.append(
            Remark(
                "warning",
                "more-sheets",
                f'sheet "{filled[0].title}" is read; left out: {others}',
                "Put each run in a file of its own.",
            )
        )
    return table


def _not_a_spreadsheet() -> UnreadableLogError:
    return UnreadableLogError(
        "not-a-spreadsheet",
        "the file is not a whole XLSX workbook",
        "Open and save it again as .xlsx or .csv.",
    )


def _rows(sheet: Any) -> Iterator[Row]:
    sheet.reset_dimensions()  # where the size that a workbook states is wrong, cells beyond it would vanish
    for cells in sheet.iter_rows():
        row = [_value(cell) for cell in cells]
        while row and row[-1] is None:
            row.pop()
        yield row


def _value(cell: Any) -> float | str | None:
    value = cell.value
    if isinstance(value, float):
        return (
            round(value * 100.0, 12) if "%" in cell.number_format else value
        )  # shown as 50 %, stored as 0.5
    if value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value) if abs(value) < _LARGEST_INT else math.inf
    if isinstance(value, (dt.datetime, dt.time)):
        return value.isoformat()
    return " ".join(str(value).split()) or None


def _read_sheet(rows: Iterator[Row]) -> RawTable:
    head = list(itertools.islice(rows, HEAD_LINES))
    texts = _TextNumbers([[c if isinstance(c, str) else "" for c in row] for row in head])
    width = max(len(row) for row in head)
    dialect = find_dialect([_line(texts.read(row), width) for row in head], "\t")
    if dialect is None:
        raise UnreadableLogError(
            "no-numbers",
            "no row of the sheet holds two numbers or more",
            "Put the log's columns side by side on the first sheet.",
        )
    gathered = _Rows(dialect)
    for number, row in enumerate(itertools.chain(head[dialect.first :], rows), dialect.first + 1):
        gathered.take(number, texts.read(row, number))
    table = gathered.table()
    table.remarks += texts.remarks()
    return table


def _line(row: Row, width: int) -> str:
    return "\t".join("" if c is None else c if isinstance(c, str) else repr(c) for c in row) + "\t" * (
        width - max(len(row), 1)
    )


class _TextNumbers:
    """Numbers that cells hold as text: made numbers, and told of. `head` (row, column) are cells of text."""

    def __init__(self, head: Sequence[Sequence[str]]) -> None:
        self._comma = decimal_signs(head, quoted=False)[0]
        self._read: list[int] = []
        self._mixed: list[int] = []

    def read(self, row: Row, number: int | None = None) -> Row:
        """A row with its texts made numbers where they are some; `number` is remembered for the remarks."""
        if not any(isinstance(c, str) for c in row):
            return row
        made = [self._cell(c) if isinstance(c, str) else c for c in row]
        if number is not None:
            if any(isinstance(a, str) and isinstance(b, float) for a, b in zip(row, made, strict=True)):
                self._read.append(number)
            if self._comma and any(
                isinstance(c, str) and cell_value(c, comma=False) is not None for c in made
            ):
                self._mixed.append(number)
        return made

    def _cell(self, text: str) -> float | str | None:
        value = cell_value(text, self._comma)
        if value is not None:
            return None if math.isnan(value) else value
        if self._comma and value_with_unit(text, comma=True):
            return text.replace(",", ".")
        return text

    def remarks(self) -> list[Remark]:
        """What came of it."""
        made: list[Remark] = []
        commas = " with decimal commas" if self._comma else ""
        if self._read:
            made.append(
                remark_rows(
                    "note",
                    "numbers-as-text",
                    f"cells hold numbers as text{commas}; read as the numbers they spell",
                    "Nothing to do if they are; in the workbook, give such cells the format of a number.",
                    self._read,
                )
            )
        if self._mixed:
            made.append(
                remark_rows(
                    "error",
                    "mixed-decimals",
                    "text with a decimal point in a workbook whose other cells of text have decimal commas",
                    "Give these cells the format of a number, or write one decimal sign in all of them.",
                    self._mixed,
                )
            )
        return made


class _Rows:
    """Gathers a sheet's rows of data: numbers in arrays of their type, whatever else line by line."""

    def __init__(self, dialect: Dialect) -> None:
        self._dialect = dialect
        self._odd = OddLines(dialect)
        self._numbers, self._positions = array("d"), array("q")
        self._blank: list[int] = []
        self._beside: list[int] = []

    def take(self, number: int, row: Row) -> None:
        """One row, by its number in the sheet from 1."""
        width, position = self._dialect.width, number - self._dialect.first - 1
        if not row:
            self._blank.append(position)  # those below the last row are the sheet's, and nothing is lost
            return
        for blank in self._blank:
            self._odd.take(blank, "", is_last=False, is_cut=False)
        self._blank.clear()
        if len(row) > width:
            self._beside.append(number)
            row = row[:width]
        if any(isinstance(c, str) for c in row):
            self._odd.take(position, _line(row, width), is_last=False, is_cut=False)
            return
        self._numbers.extend(math.nan if c is None else c for c in row)
        self._numbers.extend([math.nan] * (width - len(row)))
        self._positions.append(position)

    def table(self) -> RawTable:
        """The rows in their order, and what was remarkable."""
        count, width = len(self._positions), self._dialect.width
        rows = Rows(count + len(self._odd.positions), width)
        if count:
            rows.room(count)[:] = np.frombuffer(self._numbers).reshape(count, width)
            rows.take(np.array(self._positions))
        table = in_order(rows, self._odd, self._dialect)
        table.remarks[:0] = self._dialect.remarks
        if self._beside:
            table.remarks.append(
                remark_rows(
                    "warning",
                    "cells-beside",
                    f"cells to the right of the table's {width} columns, left out",
                    "Nothing to do if they are remarks; a column of the log needs its name in the header.",
                    self._beside,
                )
            )
        return table
