"""From a header's cells and the campaign file to the columns of the channels."""

from __future__ import annotations

from dataclasses import dataclass

from motorfit.bench.faults import listed, nearest
from motorfit.bench.labels import label_of, unit_of
from motorfit.bench.models import Column, Run
from motorfit.bench.rawtable import RawTable, Remark
from motorfit.units import EXAMPLES, UnitError


@dataclass(frozen=True, slots=True)
class Assigned:
    """A channel's column: position from 0, how it is called in messages, unit as written or None, sign."""

    position: int
    label: str
    unit: str | None
    sign: int = 1


def assign_columns(table: RawTable, run: Run) -> tuple[dict[str, Assigned], list[Remark]]:
    """Which column holds which channel, what the campaign file says first, what the header says after.

    Returns the columns by channel ("time" among them) and the remarks: errors for columns named by the
    campaign file that are not there and for two columns that claim one channel, notes for columns left out.
    """
    remarks: list[Remark] = []
    found: dict[str, Assigned] = {}
    for channel, column in run.columns.items():
        position = _position(table, channel, column, remarks)
        if position is not None:
            name = table.names[position] if table.names else f"column {position + 1}"
            found[channel] = Assigned(
                position, name, column.unit or _header_unit(table, position), column.sign
            )
    _by_header(table, found, remarks)
    return found, remarks


def _header_unit(table: RawTable, position: int) -> str | None:
    unit = (
        table.units[position].strip().strip("[]()") if table.units and position < len(table.units) else None
    )
    return unit or (None if table.names is None else unit_of(table.names[position]))


def _position(table: RawTable, channel: str, column: Column, remarks: list[Remark]) -> int | None:
    width = table.numbers.shape[1]
    if isinstance(column.column, int):
        if column.column <= width:
            return column.column - 1
        remarks.append(
            Remark(
                "error",
                "missing-column",
                f"{channel} is said to be column {column.column}; the file has {width} columns",
                f"Correct columns.{channel}.column: 1 to {width}.",
            )
        )
        return None
    names = [n.strip() for n in table.names or ()]
    if column.column.strip() in names:
        return names.index(column.column.strip())
    near = nearest(column.column, names)
    remedy = (
        f'Did you mean "{near}"?'
        if near
        else (
            f"Its columns are: {listed(names)}."
            if names
            else "The file has no header; give columns by position from 1."
        )
    )
    remarks.append(
        Remark(
            "error",
            "missing-column",
            f'{channel} is said to be column "{column.column}", which is not in the file',
            remedy,
        )
    )
    return None


def _by_header(table: RawTable, found: dict[str, Assigned], remarks: list[Remark]) -> None:
    """Fill in what the campaign file left to the header."""
    taken = {a.position for a in found.values()}
    by_file = set(found)
    left_out: list[str] = []
    for position, name in enumerate(table.names or ()):
        label = label_of(name)
        if position in taken:
            continue
        if label.channel is None or label.channel in by_file:
            left_out.append(name.strip() or f"(column {position + 1})")
            continue
        if label.channel in found:
            earlier = found[label.channel].label
            remarks.append(
                Remark(
                    "error",
                    "two-columns",
                    f'{label.channel} stands in two columns, "{earlier}" and "{name.strip()}"',
                    f"Choose one in the campaign file: [runs.columns] {label.channel} = {{ column = "
                    f'"{earlier}" }}.',
                )
            )
            continue
        found[label.channel] = Assigned(position, name.strip(), _header_unit(table, position))
    named = [n for n in left_out if not n.startswith("(column")]
    if named:
        remarks.append(
            Remark(
                "note",
                "columns-left-out",
                f"columns left out: {listed(named, 20)}",
                "Name one in [runs.columns] if it is a channel.",
            )
        )


def conversion_remark(channel: str, column: Assigned, error: UnitError) -> Remark:
    """The error for a unit that is not understood, with the remedy."""
    text = str(error).partition(";")[0]
    if text.startswith("eRPM"):
        return Remark(
            "error",
            "pole-count-missing",
            f'column "{column.label}": {text}',
            "Add pole_pairs to the motor in the campaign file.",
        )
    return Remark(
        "error",
        "wrong-unit",
        f'column "{column.label}": {text}',
        f"Allowed for {channel}: {EXAMPLES[channel]}; state it in [runs.columns] {channel} = "
        f'{{ column = "{column.label}", unit = "..." }}.',
    )
