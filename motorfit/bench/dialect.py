"""How a text log is written: its delimiter, its decimal sign, where its header and its data begin."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from motorfit.bench.labels import is_unit_cell, label_of
from motorfit.bench.rawtable import COMMA_NUMBER, NUMBER, Remark, remark_rows

_DELIMITERS: tuple[str | None, ...] = (";", "\t", ",", None)
_CLOCK = re.compile(r".*\d{1,2}:\d{2}(?::\d{2})?(?:[.,]\d+)?(?:Z|[+-]\d{2}:?\d{2})?")
# In a header set apart by blanks, a unit in brackets belongs to the word before it.
_HEADER_WORD = re.compile(r"[^\s\[(]+(?:\s*[\[(][^\])]*[\])])?")


@dataclass(slots=True)
class Dialect:
    """What `find_dialect` found.

    `delimiter` None is any run of blanks; `first` is the position of the first line of data among the lines
    given; `width` is the number of cells of an ordinary row.
    """

    delimiter: str | None
    comma: bool
    width: int
    first: int
    names: tuple[str, ...] | None
    units: tuple[str, ...] | None
    remarks: list[Remark] = field(default_factory=list)


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


def _is_value(cell: str, comma: bool) -> bool:
    return bool(NUMBER.fullmatch(cell) or (comma and COMMA_NUMBER.fullmatch(cell)) or _CLOCK.fullmatch(cell))


def _share(cells: Sequence[str], comma: bool) -> float:
    """Share of the filled cells that are numbers or times."""
    filled = [c for c in cells if c]
    return (
        sum(_is_value(c, comma) for c in filled) / len(filled) if len(filled) > 0 and len(cells) > 1 else 0.0
    )


def find_dialect(lines: Sequence[str], forced: str | None = None) -> Dialect | None:
    """The dialect of a log from its first few hundred lines; None where no line holds two numbers or more."""
    sample = [
        line
        for line in lines
        if line.strip() and not is_comment(line, None if line.lstrip()[0] != ";" else ";")
    ]
    best: tuple[float, str | None] = (0.0, None)
    for delimiter in (forced,) if forced else _DELIMITERS:
        score = sum(
            s for line in sample if (s := _share(split_cells(line, delimiter), delimiter != ",")) >= 0.5
        )
        if score > best[0]:
            best = (score, delimiter)
    if best[0] == 0.0:
        return None
    delimiter = best[1]
    comma_allowed = delimiter != ","
    rows = [split_cells(line, delimiter) for line in lines]
    data = [
        i
        for i, row in enumerate(rows)
        if _share(row, comma_allowed) >= 0.5 and not is_comment(lines[i], delimiter)
    ]
    if not data:
        return None
    width = Counter(len(rows[i]) for i in data).most_common(1)[0][0]
    first = next(i for i in data if len(rows[i]) == width)
    comma = comma_allowed and any(
        COMMA_NUMBER.fullmatch(c) and "," in c.strip(",") for i in data for c in rows[i]
    )
    dialect = Dialect(delimiter, comma, width, first, None, None)
    _find_header(lines, dialect)
    return dialect


def _find_header(lines: Sequence[str], dialect: Dialect) -> None:
    """Names and units from what stands above the data; whatever else stands there is remarked on."""
    above = [i for i in range(dialect.first) if lines[i].strip()]
    cells = {i: _header_cells(lines[i].lstrip("#%/; "), dialect) for i in above}
    plain = [i for i in above if not is_comment(lines[i], dialect.delimiter)]
    if plain and _share(cells[plain[-1]], True) >= 0.5:
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
    header = plain[-1] if plain else None
    units = None
    if len(plain) > 1 and len(cells[plain[-1]]) == len(cells[plain[-2]]) > 1:
        names_above = any(label_of(c).channel for c in cells[plain[-2]])
        if names_above and all(is_unit_cell(c) for c in cells[plain[-1]]):
            units, header = plain[-1], plain[-2]
    if header is None or len(cells[header]) < 2:
        # No header of its own; a comment just above the data may name as many columns as the data has.
        commented = [i for i in above if i not in plain and _names_columns(cells[i], dialect.width)]
        header = commented[-1] if commented else None
    _remark_preamble([i for i in above if i not in (header, units)], dialect)
    if header is not None:
        _take_header(cells[header], cells.get(units) if units is not None else None, lines, dialect)


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
                "Mend the header, or give the columns by position in [runs.columns].",
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
