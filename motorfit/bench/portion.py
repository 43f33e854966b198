"""Several runs in one file: which of its rows belong to a run."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.clock import Clock, unwrapped
from motorfit.bench.columns import column_position
from motorfit.bench.copies import equal_cells, written_twice
from motorfit.bench.findings import rows_text
from motorfit.bench.models import Run, Where
from motorfit.bench.order import order_of_one_clock
from motorfit.bench.rawtable import RawTable, Remark
from motorfit.bench.stamps import seconds_of_stamps

_ORDINARY = 5.0
"""Usual steps of time up to which a run goes on."""

_MOST_PARTS = 0.05
"""Share of rows from which starts of parts are none: time is in no order at all."""

__all__ = ["parts_of", "parts_remedy", "portion_of", "window_of"]

_FEW = 20
"""Rows that have to follow a step back in time for a new run; fewer are merely out of order."""


def portion_of(table: RawTable, run: Run, time_position: int | None) -> tuple[RawTable | None, list[Remark]]:
    """The rows of a log that `where` and `part` leave to a run; None with an error where none are left."""
    remarks: list[Remark] = []
    if run.where is not None:
        chosen, remark = _where_rows(table, run.where)
        if chosen is None:
            return None, [remark]
        remarks.append(remark)
        table = table.only(chosen)
    if run.part is None:
        return table, remarks
    parts = parts_of(table, time_position)
    if run.part > len(parts):
        return None, [
            *remarks,
            Remark(
                "error",
                "no-such-part",
                f"part {run.part} is asked for; the file has: {_parts_text(parts, table)}",
                f"Correct the run's part: 1 to {len(parts)}.",
            ),
        ]
    start, end = parts[run.part - 1]
    chosen = np.zeros(len(table.numbers), dtype=bool)
    chosen[start:end] = True
    numbers = table.row_numbers[start:end]
    remarks.append(
        Remark(
            "note",
            "part-of-file",
            f"part {run.part} of {len(parts)} in its file: rows {numbers[0]} to {numbers[-1]}",
            "Nothing to do.",
        )
    )
    return table.only(chosen), remarks


def window_of(run: Run, clock: Clock) -> tuple[Clock | None, list[Remark]]:
    """The instants from `from_s` on and before `to_s`, counted from the part's first row."""
    if run.from_s is None and run.to_s is None:
        return clock, []
    low = -np.inf if run.from_s is None else run.from_s
    high = np.inf if run.to_s is None else run.to_s
    inside = np.flatnonzero((clock.time_s >= low) & (clock.time_s < high))
    if len(inside) < 2:
        return None, [
            Remark(
                "error",
                "empty-window",
                f"fewer than two rows between {max(low, 0.0):g} and {high:g} s; "
                f"the log goes from 0 to {clock.time_s[-1]:.4g} s",
                "Correct from_s and to_s: seconds from the first row.",
            )
        ]
    first, last = int(inside[0]), int(inside[-1])
    stop = len(clock.rows) if last + 1 == len(clock.groups) else int(clock.groups[last + 1])
    begin = int(clock.groups[first])
    cut = Clock(
        clock.time_s[first : last + 1] - clock.time_s[first],
        clock.rows[begin:stop],
        clock.groups[first : last + 1] - begin,
    )
    return cut, [
        Remark(
            "note",
            "part-of-file",
            f"{len(inside)} of {len(clock.time_s)} rows, from {clock.time_s[first]:.4g} to "
            f"{clock.time_s[last]:.4g} s of its file; times below count from there",
            "Nothing to do.",
        )
    ]


def parts_of(table: RawTable, time_position: int | None) -> list[tuple[int, int]]:
    """Stretches [start, end) of rows between which time starts over or the header stands again."""
    count = len(table.numbers)
    cuts = {s for s in table.seams if 0 < s < count}
    if time_position is not None:
        time = seconds_of_stamps(table.texts.get(time_position, {}), count)
        if time is None:
            time = table.numbers[:, time_position]
        cuts = {s for s in cuts if not _goes_on(time, s)} | set(_restarts(time, table.numbers))
    edges = [0, *sorted(cuts), count]
    return [(a, b) for a, b in itertools.pairwise(edges) if b > a]


def parts_remedy(table: RawTable, time_position: int | None) -> str:
    """How to name the parts of a file whose time starts over."""
    parts = parts_of(table, time_position)
    if len(parts) < 2:
        return "Check the time column; if two runs were joined, split the file there."
    if len(parts) > _FEW:
        return "Time is in no order at all: sort the rows by time, or check which column is the time."
    twice = ""
    (_, first), (start, end) = parts[:2]
    if end - start <= first and equal_cells(table.numbers[start:end], table.numbers[: end - start]).all():
        twice = (
            " Part 2 repeats part 1 to the last digit: if the log was written twice, part = 1 is all of it."
        )
    return (
        f"If runs were joined, give each of them a [[runs]] table of its own: {_parts_text(parts, table)}"
        f"{_told_apart_by(parts, table, time_position)}. Otherwise check the time column.{twice}"
    )


def _told_apart_by(parts: list[tuple[int, int]], table: RawTable, time_position: int | None) -> str:
    """A column that counts the parts, as words for `where`; nothing where there is none."""
    if table.names is None:
        return ""
    for position in range(table.numbers.shape[1]):
        texts = table.texts.get(position, {})
        values: list[object] = []
        for a, b in parts:
            held = {texts.get(row) for row in range(a, b)} if texts else set(table.numbers[a:b, position])
            values += list(held) if len(held) == 1 else [None]
        known = all(v is not None and v == v for v in values)  # nan is not itself
        if position != time_position and known and len(set(values)) == len(parts):
            name, first = table.names[position].strip(), values[0]
            equals = f'"{first}"' if isinstance(first, str) else f"{first:g}"
            return f'; or by where = {{ column = "{name}", equals = {equals} }} and so on'
    return ""


def _parts_text(parts: list[tuple[int, int]], table: RawTable) -> str:
    numbers = table.row_numbers
    some = "; ".join(
        f"part = {k + 1}, rows {numbers[a]} to {numbers[b - 1]}" for k, (a, b) in enumerate(parts[:6])
    )
    return some + (f" and {len(parts) - 6} more" if len(parts) > 6 else "")


def _restarts(time: NDArray[np.float64], cells: NDArray[np.float64]) -> list[int]:
    rows = np.flatnonzero(np.isfinite(time))
    known = unwrapped(time[rows], [])
    once = ~written_twice(known, cells[rows])
    rows, known = rows[once], known[once]
    if order_of_one_clock(known) is not None:  # one run, in whatever order
        return []
    found = []
    for back in np.flatnonzero(np.diff(known) < 0).tolist():
        after = known[back + 1 : back + 1 + _FEW]
        if np.all(after <= known[back]) and (len(after) == _FEW or len(known) < 4 * _FEW):
            found.append(int(rows[back + 1]))
    return found if len(found) < _FEW or len(found) < _MOST_PARTS * len(known) else []


def _goes_on(time: NDArray[np.float64], row: int) -> bool:
    """Whether time steps over a repeated header as it does elsewhere: it was written again within a run."""
    steps = np.diff(time[np.isfinite(time)])
    usual = float(np.median(steps)) if steps.size else 0.0
    return bool(0.0 < time[row] - time[row - 1] <= _ORDINARY * usual)


def _where_rows(table: RawTable, where: Where) -> tuple[NDArray[np.bool_] | None, Remark]:
    position, fault = column_position(table, "where", where.column, "where.column")
    if position is None:
        return None, fault
    texts = table.texts.get(position, {})
    chosen = np.zeros(len(table.numbers), dtype=bool)
    if isinstance(where.equals, str):
        for row, text in texts.items():
            chosen[row] = text.strip() == where.equals.strip()
    else:
        chosen = np.asarray(table.numbers[:, position] == float(where.equals))
    label = table.names[position].strip() if table.names else f"column {position + 1}"
    if not chosen.any():
        return None, Remark(
            "error",
            "where-finds-nothing",
            f'no row has {where.equals!r} in "{label}"; it holds {_values_text(table, position)}',
            "Correct where.equals.",
        )
    rows = table.row_numbers[chosen]
    return chosen, Remark(
        "note",
        "part-of-file",
        f'{len(rows)} of {len(chosen)} rows, those with {where.equals!r} in "{label}": '
        + rows_text(rows.tolist()),
        "Nothing to do.",
    )


def _values_text(table: RawTable, position: int) -> str:
    texts = sorted(set(table.texts.get(position, {}).values()))
    numbers = np.unique(table.numbers[:, position])
    values = [repr(t) for t in texts] + [f"{v:g}" for v in numbers[np.isfinite(numbers)][:8].tolist()]
    return ", ".join(values[:8]) + (" and more" if len(texts) + len(numbers) > 8 else "")
