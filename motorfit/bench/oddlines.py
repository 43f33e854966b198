"""Lines of a log that are not simply a row of numbers: each is taken, or named among the remarks."""

from __future__ import annotations

import numpy as np

from motorfit.bench.dialect import Dialect, is_comment, split_cells
from motorfit.bench.findings import Severity
from motorfit.bench.rawtable import Remark, cell_value, grouped_value, remark_rows, value_with_unit

_KINDS: dict[str, tuple[Severity, str, str]] = {
    # kind: severity, what is said of the rows, remedy
    "comment-lines": ("note", "comments, left out", "Nothing to do."),
    "blank-lines": ("note", "blank lines, left out", "Nothing to do."),
    "repeated-header": ("warning", "the header again", "If two runs were joined in one file, split it."),
    "text-line": (
        "warning",
        "text instead of numbers; left out",
        "Look at it; take the line out of the log if it is only a remark.",
    ),
    "cut-last-line": (
        "warning",
        "the last line is cut short; left out",
        "Nothing to do if the rest of the run is whole.",
    ),
    "short-row": ("warning", "fewer cells than the other rows; left out", "Look at these rows in the log."),
    "long-row": (
        "warning",
        "more numbers than the other rows; left out",
        "Look at these rows in the log; a decimal comma in a file separated by commas would do this.",
    ),
    "thousands-sign": (
        "note",
        "a sign between thousands; taken out",
        "Nothing to do if that is what the sign is; numbers are best written without one.",
    ),
    "trailing-text": ("note", "text after the last column, left out", "Nothing to do."),
    "mixed-decimals": (
        "error",
        "a decimal point in a file of decimal commas",
        "Write one decimal sign throughout, and no sign between thousands.",
    ),
}
_MOST_RAGGED = 0.1


class OddLines:
    """Collects the rows and the remarks of the odd lines of one log."""

    def __init__(self, dialect: Dialect) -> None:
        self._dialect = dialect
        self._names = None if dialect.names is None else [n.casefold() for n in dialect.names]
        self._found: dict[str, list[int]] = {}
        self.positions: list[int] = []
        """Line positions of the rows taken, from the first line of data."""
        self.values: list[list[float]] = []
        self.texts: list[tuple[int, int, str]] = []
        """(index into `values`, column, text) of cells that are text."""
        self.seams: list[int] = []
        """Line positions of repeated headers."""
        self._cut_row: str | None = None

    def take(self, position: int, line: str, *, is_last: bool, is_cut: bool) -> None:
        """Judge one line; `is_cut` where the file ends without a line end."""
        dialect = self._dialect
        if not line.strip():
            if not is_last:
                self._note("blank-lines", position)
            return
        if is_comment(line, dialect.delimiter):
            self._note("comment-lines", position)
            return
        cells = split_cells(line, dialect.delimiter)
        if self._names is not None and [c.casefold() for c in cells[: len(self._names)]] == self._names:
            self._note("repeated-header", position)
            self.seams.append(position)
            return
        values = [cell_value(cell, dialect.comma) for cell in cells]
        for k, cell in enumerate(cells):
            if values[k] is None:
                values[k] = grouped_value(cell, dialect.comma, dialect.point)
                if values[k] is not None:
                    self._note("thousands-sign", position)
        with_units = sum(
            v is None and value_with_unit(c, dialect.comma) is not None
            for v, c in zip(values, cells, strict=True)
        )
        if (
            with_units < 2
            and all(v is None or np.isnan(v) for v in values)
            and any(v is None for v in values)
        ):
            self._note("cut-last-line" if is_cut and len(cells) < dialect.width else "text-line", position)
            return
        if len(cells) < dialect.width:
            self._note("cut-last-line" if is_last else "short-row", position)
            return
        extra = [v for v in values[dialect.width :] if v is None or not np.isnan(v)]
        if any(v is not None for v in extra):
            self._note("long-row", position)
            return
        if extra:
            self._note("trailing-text", position)
        self._row(position, cells, values)
        if is_cut:
            self._cut_row = cells[-1]

    def _row(self, position: int, cells: list[str], values: list[float | None]) -> None:
        row: list[float] = []
        for column in range(self._dialect.width):
            value = values[column]
            if value is None:
                if self._dialect.comma and cell_value(cells[column], comma=False) is not None:
                    self._note("mixed-decimals", position)
                self.texts.append((len(self.values), column, cells[column]))
                value = float("nan")
            row.append(value)
        self.positions.append(position)
        self.values.append(row)

    def _note(self, kind: str, position: int) -> None:
        self._found.setdefault(kind, []).append(position)

    def judge_last(self, cells_above: list[str]) -> None:
        """Whether the last row, whole but without a line end, lost part of its last number.

        It did when it has fewer decimals than every one of the rows above it; equal decimals are the ordinary
        file of a program that does not end its last line.
        """
        if self._cut_row is None or len(cells_above) < 3:
            return
        if _decimals(self._cut_row) < min(_decimals(c) for c in cells_above):
            position = self.positions.pop()
            self.values.pop()
            self.texts = [t for t in self.texts if t[0] < len(self.values)]
            self._note("cut-last-line", position)

    def remarks(self, rows: int) -> list[Remark]:
        """One remark per kind of odd line; an error where too many rows do not fit."""
        first = self._dialect.first + 1
        made: list[Remark] = []
        for kind, positions in self._found.items():
            severity, what, remedy = _KINDS[kind]
            made.append(
                remark_rows(severity, kind, what, remedy, [p + first for p in dict.fromkeys(positions)])
            )
        ragged = len(self._found.get("short-row", [])) + len(self._found.get("long-row", []))
        if ragged > 5 and ragged > _MOST_RAGGED * (rows + ragged):
            made.append(
                Remark(
                    "error",
                    "ragged",
                    f"{ragged} of {rows + ragged} rows do not have {self._dialect.width} cells",
                    "Check delimiter and decimal sign of the log.",
                )
            )
        return made


def _decimals(cell: str) -> int:
    return len(cell.replace(",", ".").partition(".")[2])
