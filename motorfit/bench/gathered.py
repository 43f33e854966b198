"""Clean rows and odd ones, put together in the order of their file."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.dialect import Dialect
from motorfit.bench.labels import unit_of
from motorfit.bench.oddlines import OddLines
from motorfit.bench.rawtable import RawTable, Remark, value_with_unit
from motorfit.bench.stamps import nanoseconds_of, past_midnight

__all__ = ["in_order"]


class Rows:
    """Clean rows as they come: numbers float64 (row, column), by column, and the lines they stand in.

    By column, since that is how a log is used; and in one place from the start, since a large log is not to
    stand twice in memory. Room that is never used costs nothing.
    """

    def __init__(self, lines: int, width: int) -> None:
        self.numbers = np.empty((lines, width), order="F")
        self.lines = np.empty(lines, dtype=np.int64)
        self.count = 0
        self.begin: dict[int, int] = {}
        """Where the times of columns of stamps begin that are numbers already, by column [ns]."""

    def room(self, count: int) -> NDArray[np.float64]:
        """Where the next `count` rows go, (count, width)."""
        most, width = self.numbers.shape
        if self.count + count > most:
            most = max(self.count + count, most + most // 2)
            numbers, lines = np.empty((most, width), order="F"), np.empty(most, dtype=np.int64)
            numbers[: self.count], lines[: self.count] = self.numbers[: self.count], self.lines[: self.count]
            self.numbers, self.lines = numbers, lines
        return self.numbers[self.count : self.count + count]

    def take(self, lines: NDArray[np.int64]) -> None:
        """What was written where there was `room` is as many rows, from `lines` (row,)."""
        self.lines[self.count : self.count + len(lines)] = lines
        self.count += len(lines)


def in_order(gathered: Rows, odd: OddLines, dialect: Dialect) -> RawTable:
    """The clean rows and the rows among the odd lines, put into the file's order."""
    clean = gathered.count
    gathered.room(len(odd.positions))[:] = np.array(odd.values).reshape(len(odd.values), dialect.width)
    gathered.take(np.array(odd.positions, dtype=np.int64))
    numbers, line_numbers = gathered.numbers[: gathered.count], gathered.lines[: gathered.count]
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
    _stamps_as_numbers(numbers, texts, gathered.begin, dialect)
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
    for column in gathered.begin:
        cells[column] = "s"
    return RawTable(
        dialect.names,
        tuple(cells) if units or gathered.begin or dialect.units is not None else None,
        numbers,
        line_numbers + dialect.first + 1,
        texts,
        seams,
        remarks,
    )


def _stamps_as_numbers(
    numbers: NDArray[np.float64],
    texts: dict[int, dict[int, str]],
    begin: Mapping[int, int],
    dialect: Dialect,
) -> None:
    """Make stamps of odd lines numbers too, in columns whose clean pieces are, from the first row on."""
    for column, start in begin.items():
        form = dialect.stamped[column]
        for row, text in list(texts.get(column, {}).items()):
            nanoseconds = nanoseconds_of(text, form)
            if nanoseconds is not None:
                numbers[row, column] = (nanoseconds - start) * 1e-9
                del texts[column][row]
        if column in texts and not texts[column]:
            del texts[column]
        if form == "clock":
            numbers[:, column] = past_midnight(numbers[:, column])
        known = np.flatnonzero(np.isfinite(numbers[:, column]))
        numbers[:, column] -= numbers[known[0], column]


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
