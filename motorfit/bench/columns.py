"""From a header's cells and the campaign file to the columns of the channels."""

from __future__ import annotations

from dataclasses import dataclass

from motorfit.bench.faults import listed, nearest
from motorfit.bench.labels import label_of, unit_of
from motorfit.bench.models import Run
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
        position, fault = column_position(table, channel, column.column, f"columns.{channel}.column")
        if position is None:
            remarks.append(fault)
        else:
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


def column_position(table: RawTable, channel: str, wanted: str | int, key: str) -> tuple[int | None, Remark]:
    """Position from 0 of a column the campaign file names at `key`; None where the file has none, and why."""
    width = table.numbers.shape[1]
    if isinstance(wanted, int):
        fault = Remark(
            "error",
            "missing-column",
            f"{channel} is said to be column {wanted}; the file has {width} columns",
            f"Correct {key}: 1 to {width}.",
        )
        return (wanted - 1 if wanted <= width else None), fault
    names = [n.strip() for n in table.names or ()]
    near = nearest(wanted, names)
    if near:
        remedy = f'Did you mean "{near}"?'
    elif names:
        remedy = f"Its columns are: {listed(names)}."
    else:
        remedy = "The file has no header; give columns by position from 1."
    fault = Remark(
        "error",
        "missing-column",
        f'{channel} is said to be column "{wanted}", which is not in the file',
        remedy,
    )
    return (names.index(wanted.strip()) if wanted.strip() in names else None), fault


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
