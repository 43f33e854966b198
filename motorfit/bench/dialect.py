"""How a text log is written: its delimiter, its decimal sign, where its header and its data begin."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from motorfit.bench.labels import is_unit_cell, label_of
from motorfit.bench.rawtable import (
    COMMA_GROUPED,
    COMMA_NUMBER,
    NUMBER,
    Remark,
    grouped_value,
    remark_rows,
    value_with_unit,
)
from motorfit.bench.stamps import form_of_stamps

_DELIMITERS: tuple[str | None, ...] = (";", "\t", ",", "|", None)
_CLOCK = re.compile(r".*\d{1,2}:\d{2}(?::\d{2})?(?:[.,]\d+)?(?:Z|[+-]\d{2}:?\d{2})?")
# In a header set apart by blanks, a unit in brackets belongs to the word before it.
_HEADER_WORD = re.compile(r"[^\s\[(]+(?:\s*[\[(][^\])]*[\])])?")

_FEWEST_ROWS = 3
"""Rows of numbers above a header that are a run of their own."""
_LONGEST_HEADER = 30
"""Lines."""


@dataclass(slots=True)
class Dialect:
    """What `find_dialect` found.

    `delimiter` None is any run of blanks; `first` is the position of the first line of data among the lines
    given; `width` is the number of cells of an ordinary row. `comma` is whether the decimal sign is one,
    `point` whether some number shows a decimal point, `stamped` the form of stamps by column.
    """

    delimiter: str | None
    comma: bool
    width: int
    first: int
    names: tuple[str, ...] | None
    units: tuple[str, ...] | None
    remarks: list[Remark] = field(default_factory=list)
    point: bool = False
    stamped: dict[int, str] = field(default_factory=dict)


def split_cells(line: str, delimiter: str | None) -> list[str]:
    """The cells of a line, trimmed; quotes are honoured."""
    if delimiter is None:
        return line.split()
    cells = (
        next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
        if '"' in line
        else line.split(delimiter)
    )
    return [cell.strip() for cell in cells]


def is_comment(line: str, delimiter: str | None) -> bool:
    """Whether a line is a comment."""
    start = line.lstrip().lstrip('"')
    return start.startswith(("#", "%", "//")) or (start.startswith(";") and delimiter != ";")


def _is_value(cell: str) -> bool:
    return bool(
        NUMBER.fullmatch(cell)
        or COMMA_NUMBER.fullmatch(cell)
        or _CLOCK.fullmatch(cell)
        or grouped_value(cell, False, True) is not None
        or value_with_unit(cell, "," in cell)
    )


def _share(cells: Sequence[str]) -> float:
    """Share of the filled cells that are numbers or times."""
    filled = [c for c in cells if c]
    return sum(_is_value(c) for c in filled) / len(filled) if len(filled) > 0 and len(cells) > 1 else 0.0


def find_dialect(lines: Sequence[str], forced: str | None = None) -> Dialect | None:
    """The dialect of a log from its first few hundred lines; None where no line holds two numbers or more."""
    lines = _quotes_closed(lines)
    sample = [
        line
        for line in lines
        if line.strip() and not is_comment(line, None if line.lstrip()[0] != ";" else ";")
    ]
    best: tuple[float, str | None] = (0.0, None)
    for delimiter in (forced,) if forced else _DELIMITERS:
        score = sum(s for line in sample if (s := _share(split_cells(line, delimiter))) >= 0.5)
        if score > best[0]:
            best = (score, delimiter)
    if best[0] == 0.0:
        return None
    delimiter = best[1]
    rows = [split_cells(line, delimiter) for line in lines]
    data = [i for i, row in enumerate(rows) if _share(row) >= 0.5 and not is_comment(lines[i], delimiter)]
    if not data:
        return None
    data = _below_header(rows, data)
    width = Counter(len(rows[i]) for i in data).most_common(1)[0][0]
    first = next(i for i in data if len(rows[i]) == width)
    comma, point = decimal_signs([rows[i] for i in data], delimiter == ",")
    dialect = Dialect(delimiter, comma, width, first, None, None, point=point)
    whole = [rows[i] for i in data if len(rows[i]) == width]
    forms = {k: form_of_stamps([row[k] for row in whole]) for k, c in enumerate(whole[0]) if ":" in c}
    dialect.stamped = {k: form for k, form in forms.items() if form is not None}
    _find_header(lines, dialect)
    return dialect


def _quotes_closed(lines: Sequence[str]) -> list[str]:
    """The lines, with names that are quoted over several lines put together on the last of these."""
    made = list(lines)
    i = 0
    while i < min(len(made), _LONGEST_HEADER):
        end = i
        while end < min(len(made), i + _LONGEST_HEADER) and sum(m.count('"') for m in made[i : end + 1]) % 2:
            end += 1
        if end > i and end < min(len(made), i + _LONGEST_HEADER):
            made[end] = " ".join(m.strip() for m in made[i : end + 1])
            made[i:end] = [""] * (end - i)
            i = end
        i += 1
    return made


def _below_header(rows: Sequence[Sequence[str]], data: list[int]) -> list[int]:
    """Rows of data without those above the header that only look like some, as `test 14; 4 March` does."""
    named = (i for i, row in enumerate(rows) if sum(label_of(c).channel is not None for c in row) >= 2)
    header = next((i for i in named if _share(rows[i]) < 0.5), None)
    above = [i for i in data if header is not None and i < header]
    return data[len(above) :] if len(above) < _FEWEST_ROWS < len(data) else data


def decimal_signs(rows: Sequence[Sequence[str]], quoted: bool) -> tuple[bool, bool]:
    """Whether the decimal sign is a comma, and whether some number shows a decimal point.

    A comma is one between thousands where there are decimal points as well, each comma stands before three
    digits, and every column with commas has numbers without one, or all commas stand `quoted` between commas.
    """
    point = any("." in c and (NUMBER.fullmatch(c) or COMMA_GROUPED.fullmatch(c)) for row in rows for c in row)
    commas = [(k, c) for row in rows for k, c in enumerate(row) if "," in c.strip(",")]
    decimal = [c for _, c in commas if COMMA_NUMBER.fullmatch(c) or value_with_unit(c, True)]
    if not decimal:
        return False, point
    columns = {k for k, _ in commas}
    bare = {k for row in rows for k, c in enumerate(row) if k in columns and NUMBER.fullmatch(c)}
    thousands = point and (quoted or bare == columns) and all(COMMA_GROUPED.fullmatch(c) for _, c in commas)
    return not thousands, point


def _find_header(lines: Sequence[str], dialect: Dialect) -> None:
    """Names and units from what stands above the data; whatever else stands there is remarked on."""
    above = [i for i in range(dialect.first) if lines[i].strip()]
    cells = {i: _header_cells(lines[i].lstrip("#%/; "), dialect) for i in above}
    plain = [i for i in above if not is_comment(lines[i], dialect.delimiter)]
    if plain and _share(cells[plain[-1]]) >= 0.5:
        dialect.remarks.append(
            remark_rows(
                "warning",
                "cut-first-line",
                f"fewer than {dialect.width} cells ahead of the first whole row; left out",
                "Nothing to do if the log began there.",
                [plain[-1] + 1],
            )
        )
        above.remove(plain.pop())
    header, units = _names_and_units(plain, cells)
    if header is None or len(cells[header]) < 2:
        # No header of its own; a comment just above the data may name as many columns as the data has.
        commented = [i for i in above if i not in plain and _names_columns(cells[i], dialect.width)]
        header = commented[-1] if commented else None
    _remark_preamble([i for i in above if i not in (header, units)], dialect)
    if header is not None:
        _take_header(cells[header], cells.get(units) if units is not None else None, lines, dialect)


def _names_and_units(
    plain: Sequence[int], cells: Mapping[int, Sequence[str]]
) -> tuple[int | None, int | None]:
    """Which of the lines above the data, none of them a comment, holds the names, and which the units."""
    if not plain:
        return None, None
    known = {i: sum(label_of(c).channel is not None for c in cells[i]) for i in plain}
    apart = {i: len(cells[i]) > 1 and all(is_unit_cell(c) for c in cells[i]) for i in plain}
    named = [i for i in plain if not apart[i]] or list(plain)
    most = max(known[i] for i in named)
    header = [i for i in named if known[i] == most][-1] if most > 0 else named[-1]
    if most == 0 and not apart[plain[-1]]:
        header = plain[-1]
    at = plain.index(header)
    for near in (at + 1, at - 1):
        if 0 <= near < len(plain) and apart[plain[near]] and len(cells[plain[near]]) == len(cells[header]):
            return header, plain[near]
    return header, None


def _names_columns(cells: Sequence[str], width: int) -> bool:
    return len(cells) == width and sum(label_of(c).channel is not None for c in cells) >= 2


def _take_header(names: list[str], units: list[str] | None, lines: Sequence[str], dialect: Dialect) -> None:
    while len(names) > dialect.width and names[-1] == "":
        names.pop()
    if len(names) == dialect.width - 1 and all(
        len(c) == dialect.width and c[-1] == "" for c in _first_rows(lines, dialect)
    ):
        names.append("")  # every row ends in a delimiter
    if len(names) != dialect.width:
        dialect.remarks.append(
            Remark(
                "warning",
                "header-width",
                f"the header has {len(names)} cells, the rows have {dialect.width}; the header is left out",
                # where a number ends is told by nothing then
                "Decimal commas between commas look like this: write the log again with decimal points, or "
                "with semicolons between the columns."
                if dialect.delimiter == "," and not dialect.point and dialect.width > len(names) + 1
                else "Mend the header, or give the columns by position in [runs.columns].",
            )
        )
        return
    dialect.names = tuple(names)
    if units is not None:
        dialect.units = tuple(units[: dialect.width])


def _first_rows(lines: Sequence[str], dialect: Dialect) -> list[list[str]]:
    return [
        split_cells(line, dialect.delimiter)
        for line in lines[dialect.first : dialect.first + 5]
        if line.strip()
    ]


def _header_cells(line: str, dialect: Dialect) -> list[str]:
    if dialect.delimiter is None:
        return [m.strip() for m in _HEADER_WORD.findall(line)]
    return split_cells(line, dialect.delimiter)


def _remark_preamble(positions: Sequence[int], dialect: Dialect) -> None:
    if positions:
        dialect.remarks.append(
            remark_rows(
                "note",
                "preamble",
                "text above the data, left out",
                "Nothing to do.",
                [i + 1 for i in positions],
            )
        )
