"""From a header's cells to channels and units."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass

from motorfit.bench.faults import listed, nearest
from motorfit.bench.models import Column, Run
from motorfit.bench.rawtable import RawTable, Remark
from motorfit.units import EXAMPLES, UnitError, is_common

_ALIASES: dict[str, tuple[str, ...]] = {
    "time": ("time", "t", "timestamp", "time stamp", "elapsed", "elapsed time", "clock", "seconds", "millis", "micros",
             "date time", "datetime"),
    "throttle": ("throttle", "throttle command", "pwm", "pulse", "pulse width", "signal", "esc", "esc signal", "esc pwm",
                 "esc pulse", "esc command", "command", "throttle signal", "throttle pulse"),
    "voltage": ("voltage", "bus voltage", "supply voltage", "input voltage", "battery voltage", "pack voltage", "v", "u",
                "volt", "volts", "v bus", "vbus", "vbat", "v bat", "dc voltage", "dc link voltage"),
    "current": ("current", "bus current", "supply current", "input current", "battery current", "pack current", "i",
                "amp", "amps", "ampere", "i bus", "ibus", "ibat", "i bat", "dc current", "dc link current"),
    "speed": ("speed", "rpm", "erpm", "motor speed", "motor rpm", "rotor speed", "shaft speed", "rotational speed",
              "rotation speed", "rotation rate", "angular speed", "angular velocity", "angular rate", "omega", "rev",
              "revs", "revolutions", "optical speed", "electrical speed", "wheel speed", "flywheel speed", "prop speed",
              "propeller speed"),
    "thrust": ("thrust", "thrust force", "force", "axial force", "lift"),
    "torque": ("torque", "moment", "reaction torque", "motor torque", "shaft torque"),
    "motor_current": ("motor current", "i motor", "im"),
    "motor_voltage": ("motor voltage", "v motor", "vm"),
    "winding_temperature": ("winding temperature", "winding temp", "coil temperature", "coil temp", "t winding"),
}
_UNIT_IN_NAME = {"rpm": "rpm", "motor rpm": "rpm", "erpm": "erpm", "millis": "ms", "micros": "us", "seconds": "s",
                 "volts": "V", "volt": "V", "amps": "A", "amp": "A", "ampere": "A"}
_CHANNEL = {alias: channel for channel, aliases in _ALIASES.items() for alias in aliases}
_BRACKETS = re.compile(r"(.*?)\s*[\[(]([^\[\]()]*)[\])]\s*")


@dataclass(frozen=True, slots=True)
class Label:
    """What a header's cell says: the channel (or "time"), None where it is no known name; the unit as written."""

    channel: str | None
    unit: str | None


@dataclass(frozen=True, slots=True)
class Assigned:
    """A channel's column: position from 0, how it is called in messages, unit as written or None, sign."""

    position: int
    label: str
    unit: str | None
    sign: int = 1


def _plain(name: str) -> str:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name.strip())
    return re.sub(r"[\s_.:/-]+", " ", spaced).strip().casefold()


def _channel_of(name: str) -> str | None:
    return _CHANNEL.get(_plain(name)) or _CHANNEL.get(re.sub(r"[\s_.:/-]+", " ", name).strip().casefold())


@functools.lru_cache(maxsize=1024)
def label_of(cell: str) -> Label:
    """The channel and unit that a header's cell names: `name [unit]`, `name (unit)`, `name_unit`, `name unit`."""
    cell = cell.strip().strip('"')
    match = _BRACKETS.fullmatch(cell)
    if match:
        name, unit = match[1], match[2].strip()
        return Label(_channel_of(name), unit or "1")
    channel = _channel_of(cell)
    if channel is not None:
        return Label(channel, _UNIT_IN_NAME.get(_plain(cell)))
    parts = [p for p in re.split(r"[_\s]+|(?<=[a-z])(?=[A-Z%])", cell) if p]
    for cut in range(len(parts) - 1, 0, -1):
        channel, unit = _channel_of(" ".join(parts[:cut])), " ".join(parts[cut:])
        if channel is not None and is_common(channel, unit):
            return Label(channel, unit)
    return Label(None, None)


def is_unit_cell(cell: str) -> bool:
    """Whether a cell of a second header row can be a unit: in brackets, or a common unit of some channel."""
    cell = cell.strip()
    if not cell or cell == "-" or (cell[0] in "[(" and cell[-1] in "])"):
        return True
    return any(is_common(channel, cell) for channel in _ALIASES)


def assign_columns(table: RawTable, run: Run) -> tuple[dict[str, Assigned], list[Remark]]:
    """Which column holds which channel, what the campaign file says first, what the header says after.

    Returns the columns by channel ("time" among them) and the remarks: errors for columns named by the campaign
    file that are not there and for two columns that claim one channel, notes for columns left out.
    """
    remarks: list[Remark] = []
    found: dict[str, Assigned] = {}
    for channel, column in run.columns.items():
        position = _position(table, channel, column, remarks)
        if position is not None:
            name = table.names[position] if table.names else f"column {position + 1}"
            found[channel] = Assigned(position, name, column.unit or _header_unit(table, position), column.sign)
    _by_header(table, found, remarks)
    return found, remarks


def _header_unit(table: RawTable, position: int) -> str | None:
    unit = table.units[position].strip().strip("[]()") if table.units and position < len(table.units) else None
    if table.names is None:
        return unit or None
    name = table.names[position].strip().strip('"')
    bracketed = _BRACKETS.fullmatch(name)
    return unit or (bracketed[2].strip() if bracketed else label_of(name).unit)


def _position(table: RawTable, channel: str, column: Column, remarks: list[Remark]) -> int | None:
    width = table.numbers.shape[1]
    if isinstance(column.column, int):
        if column.column <= width:
            return column.column - 1
        remarks.append(Remark("error", "missing-column", f"{channel} is said to be column {column.column}; the file has "
                              f"{width} columns", f"Correct columns.{channel}.column: 1 to {width}."))
        return None
    names = [n.strip() for n in table.names or ()]
    if column.column.strip() in names:
        return names.index(column.column.strip())
    near = nearest(column.column, names)
    remedy = f'Did you mean "{near}"?' if near else (
        f"Its columns are: {listed(names)}." if names else "The file has no header; give columns by position from 1.")
    remarks.append(Remark("error", "missing-column", f'{channel} is said to be column "{column.column}", which is not '
                          "in the file", remedy))
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
            remarks.append(Remark(
                "error", "two-columns", f'{label.channel} stands in two columns, "{earlier}" and "{name.strip()}"',
                f"Choose one in the campaign file: [runs.columns] {label.channel} = {{ column = "
                f'"{earlier}" }}.'))
            continue
        found[label.channel] = Assigned(position, name.strip(), _header_unit(table, position))
    named = [n for n in left_out if not n.startswith("(column")]
    if named:
        remarks.append(Remark("note", "columns-left-out", f"columns left out: {listed(named, 20)}",
                              "Name one in [runs.columns] if it is a channel."))


def conversion_remark(channel: str, column: Assigned, error: UnitError) -> Remark:
    """The error for a unit that is not understood, with the remedy."""
    text = str(error).partition(";")[0]
    if text.startswith("eRPM"):
        return Remark("error", "pole-count-missing", f'column "{column.label}": {text}',
                      "Add pole_pairs to the motor in the campaign file.")
    return Remark("error", "wrong-unit", f'column "{column.label}": {text}',
                  f"Allowed for {channel}: {EXAMPLES[channel]}; state it in [runs.columns] {channel} = "
                  f'{{ column = "{column.label}", unit = "..." }}.')

