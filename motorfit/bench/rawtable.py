"""A log as it stands in its file: columns of numbers, what was not a number, and what reading it showed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.findings import MOST_ROWS, Finding, Severity, rows_text

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
COMMA_NUMBER = re.compile(r"[+-]?(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?")
# signs between thousands that mean nothing else: apostrophes, no-break and thin blanks
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:(['\u2019\u00a0\u202f\u2009 ])\d{3})(?:\1\d{3})*([.,]\d+)?")
COMMA_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_POINT_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+,\d+|[+-]?[1-9]\d{0,2}(?:\.\d{3}){2,}")
_WITH_UNIT = re.compile(
    r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z%°µμΩ][A-Za-z%°µμΩ·*/ ]{0,7})"
)
MISSING_WORDS = frozenset(
    {"", "nan", "+nan", "-nan", "na", "n/a", "n.a.", "null", "none", "-", "--", "---", "?"}
)


@dataclass(frozen=True, slots=True)
class Remark:
    """A finding that does not know its run yet; `column` is the position of a column from 0, or None."""

    severity: Severity
    kind: str
    message: str
    remedy: str
    rows: tuple[int, ...] | None = None

    def of(self, run: str, channel: str | None = None) -> Finding:
        """The finding of a run."""
        return Finding(run, channel, self.severity, self.kind, self.message, self.remedy, rows=self.rows)


def remark_rows(severity: Severity, kind: str, what: str, remedy: str, rows: Iterable[int]) -> Remark:
    """A remark about certain rows: `what` is said of `row 7` or `rows 7, 8 and 3 more`."""
    numbers = tuple(int(r) for r in rows)
    return Remark(severity, kind, f"{rows_text(numbers)}: {what}", remedy, numbers[:MOST_ROWS])


@dataclass(slots=True)
class RawTable:
    """A log's cells.

    Attributes
    ----------
    names: the header's names, or None where there is no header.
    units: the units row's cells, or None.
    numbers: float64 (row, column), NaN where a cell is missing or not a number.
    texts: per column position, the cells that are text, by row position.
    row_numbers: int64 (row,), line (or sheet row) numbers from 1.
    seams: row positions before which a header was repeated.
    remarks: what reading showed.
    """

    names: tuple[str, ...] | None
    units: tuple[str, ...] | None
    numbers: NDArray[np.float64]
    row_numbers: NDArray[np.int64]
    texts: dict[int, dict[int, str]] = field(default_factory=dict)
    seams: tuple[int, ...] = ()
    remarks: list[Remark] = field(default_factory=list)

    def only(self, chosen: NDArray[np.bool_]) -> RawTable:
        """The table with some of its rows, bool (row,); what reading the file showed stays."""
        place = np.cumsum(chosen) - 1
        texts = {
            column: {int(place[row]): text for row, text in cells.items() if chosen[row]}
            for column, cells in self.texts.items()
        }
        kept = int(np.count_nonzero(chosen))
        seams = {int(np.count_nonzero(chosen[:s])) for s in self.seams}
        return replace(
            self,
            numbers=self.numbers[chosen],
            row_numbers=self.row_numbers[chosen],
            texts={column: cells for column, cells in texts.items() if cells},
            seams=tuple(sorted(s for s in seams if 0 < s < kept)),
        )


def cell_value(cell: str, comma: bool) -> float | None:
    """A cell as a number, NaN for a cell that says it is missing, None for text.

    With `comma` a decimal comma is the only decimal sign, so that 1.234 never passes for 1234.
    """
    if comma:
        if COMMA_NUMBER.fullmatch(cell):
            return float(cell.replace(",", "."))
        if "." in cell:
            return None
    if NUMBER.fullmatch(cell):
        return float(cell)
    return float("nan") if cell.casefold() in MISSING_WORDS else None


def grouped_value(cell: str, comma: bool, point: bool) -> float | None:
    """A number with a sign between its thousands, where nothing else can be meant by it; else None.

    A comma between thousands needs a file that shows a decimal `point`, a point between them a decimal
    `comma` in the cell or a second point.
    """
    found = _GROUPED.fullmatch(cell)
    if found and (found[2] is None or (found[2][0] == ",") == comma):
        return float("".join(c for c in cell.replace(",", ".") if c in "+-.0123456789"))
    if point and not comma and COMMA_GROUPED.fullmatch(cell):
        return float(cell.replace(",", ""))
    if comma and _POINT_GROUPED.fullmatch(cell):
        return float(cell.replace(".", "").replace(",", "."))
    return None


def value_with_unit(cell: str, comma: bool) -> tuple[float, str] | None:
    """A number with a unit behind it in the same cell, such as 12.5 V; else None."""
    found = _WITH_UNIT.fullmatch(cell)
    if found is None or cell.casefold() in MISSING_WORDS:
        return None
    value = cell_value(found[1], comma)
    return None if value is None else (value, found[2].strip())
