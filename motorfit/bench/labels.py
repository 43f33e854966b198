"""What a header's cell says: a channel, a unit."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass

from motorfit.units import is_common

_ALIASES: dict[str, tuple[str, ...]] = {
    "time": (
        "time",
        "t",
        "timestamp",
        "time stamp",
        "elapsed",
        "elapsed time",
        "clock",
        "seconds",
        "millis",
        "micros",
        "date time",
        "datetime",
    ),
    "throttle": (
        "throttle",
        "throttle command",
        "pwm",
        "pulse",
        "pulse width",
        "signal",
        "esc",
        "esc signal",
        "esc pwm",
        "esc pulse",
        "esc command",
        "command",
        "throttle signal",
        "throttle pulse",
    ),
    "voltage": (
        "voltage",
        "bus voltage",
        "supply voltage",
        "input voltage",
        "battery voltage",
        "pack voltage",
        "v",
        "u",
        "volt",
        "volts",
        "v bus",
        "vbus",
        "vbat",
        "v bat",
        "dc voltage",
        "dc link voltage",
    ),
    "current": (
        "current",
        "bus current",
        "supply current",
        "input current",
        "battery current",
        "pack current",
        "i",
        "amp",
        "amps",
        "ampere",
        "i bus",
        "ibus",
        "ibat",
        "i bat",
        "dc current",
        "dc link current",
    ),
    "speed": (
        "speed",
        "rpm",
        "erpm",
        "motor speed",
        "motor rpm",
        "rotor speed",
        "shaft speed",
        "rotational speed",
        "rotation speed",
        "rotation rate",
        "angular speed",
        "angular velocity",
        "angular rate",
        "omega",
        "rev",
        "revs",
        "revolutions",
        "optical speed",
        "electrical speed",
        "wheel speed",
        "flywheel speed",
        "prop speed",
        "propeller speed",
    ),
    "thrust": ("thrust", "thrust force", "force", "axial force", "lift"),
    "torque": ("torque", "moment", "reaction torque", "motor torque", "shaft torque"),
    "motor_current": ("motor current", "i motor", "im"),
    "motor_voltage": ("motor voltage", "v motor", "vm"),
    "winding_temperature": (
        "winding temperature",
        "winding temp",
        "coil temperature",
        "coil temp",
        "temp coil",
        "temp winding",
        "temperature coil",
        "temperature winding",
        "t winding",
    ),
}
_UNIT_IN_NAME = {
    "rpm": "rpm",
    "motor rpm": "rpm",
    "erpm": "erpm",
    "millis": "ms",
    "micros": "us",
    "seconds": "s",
    "volts": "V",
    "volt": "V",
    "amps": "A",
    "amp": "A",
    "ampere": "A",
}
_CHANNEL = {alias: channel for channel, aliases in _ALIASES.items() for alias in aliases}
_ELECTRICAL = frozenset({"erpm", "e rpm", "electrical speed", "electrical rpm"})
_PER_MINUTE = frozenset({"rpm", "1/min", "min-1", "min^-1", "rev/min", "u/min"})
_HUNDREDS = re.compile(r"(e|electrical[ _])?rpm\s?/\s?(10+)", re.IGNORECASE)
"""Speed logged in tens, hundreds or thousands, as in a column `eRPM/100`."""

_BRACKETS = re.compile(r"(.*?)\s*[\[(]([^\[\]()]*)[\])]\s*")


@dataclass(frozen=True, slots=True)
class Label:
    """What a header's cell says: the channel (or "time"), None for no known name; the unit as written."""

    channel: str | None
    unit: str | None


def _plain(name: str) -> str:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name.strip())
    return re.sub(r"[\s_.:/-]+", " ", spaced).strip().casefold()


def _channel_of(name: str) -> str | None:
    return _CHANNEL.get(_plain(name)) or _CHANNEL.get(re.sub(r"[\s_.:/-]+", " ", name).strip().casefold())


@functools.lru_cache(maxsize=1024)
def label_of(cell: str) -> Label:
    """The channel and unit a header's cell names: `name [unit]`, `name (unit)`, `name_unit`, `name unit`."""
    cell = cell.strip().strip('"')
    match = _BRACKETS.fullmatch(cell)
    if match:
        name, unit = match[1], match[2].strip()
        if _plain(name) in _ELECTRICAL and unit.casefold() in _PER_MINUTE:
            unit = "erpm"
        return Label(_channel_of(name), unit or "1")
    shared = _HUNDREDS.fullmatch(cell)
    if shared:
        return Label("speed", f"{shared[2]} {'eRPM' if shared[1] else 'rpm'}")
    channel = _channel_of(cell)
    if channel is not None:
        return Label(channel, "erpm" if _plain(cell) in _ELECTRICAL else _UNIT_IN_NAME.get(_plain(cell)))
    for between in (r"[_\s]+", r"[_\s]+|(?<=[a-z])(?=[A-Z%])"):
        parts = [p for p in re.split(between, cell) if p]
        for cut in range(len(parts) - 1, 0, -1):
            name, unit = " ".join(parts[:cut]), " ".join(parts[cut:])
            channel = _channel_of(name)
            if channel is not None and is_common(channel, unit):
                if _plain(name) in _ELECTRICAL and unit.casefold() in _PER_MINUTE:
                    unit = "erpm"
                return Label(channel, unit)
    return Label(None, None)


def is_unit_cell(cell: str) -> bool:
    """Whether a cell of a second header row can be a unit: in brackets, or a common unit of some channel."""
    cell = cell.strip()
    if not cell or cell == "-" or (cell[0] in "[(" and cell[-1] in "])"):
        return True
    return any(is_common(channel, cell) for channel in _ALIASES)


def unit_of(cell: str) -> str | None:
    """The unit that a header's cell states, also where its name is not known."""
    bracketed = _BRACKETS.fullmatch(cell.strip().strip('"'))
    if bracketed and label_of(cell).channel is None:
        return bracketed[2].strip() or None
    return None if bracketed and not bracketed[2].strip() else label_of(cell).unit
