"""What a log without a campaign file may be: channels and units, the kind of run, the propeller's size.

Every answer is a proposal for a person to correct; what the log does not say for certain is marked as unsure.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.byposition import channels_by_numbers
from motorfit.bench.clock import unwrapped
from motorfit.bench.labels import label_of, unit_of
from motorfit.bench.rawtable import RawTable
from motorfit.bench.stamps import seconds_of_stamps
from motorfit.bench.throttlescale import candidates_text, likely_scale
from motorfit.units import UnitError, channel_conversion

__all__ = ["ColumnGuess", "LogGuess", "guess_log"]

Array = NDArray[np.float64]

_WORDS = (
    # how a file's name tells the kind
    ("no-load", r"no[-_ ]?load|idle|unloaded|free[-_ ]?spin"),
    ("spin-up", r"spin[-_ ]?up|fly[-_ ]?wheel|run[-_ ]?up"),
    ("coast-down", r"coast(?:[-_ ]?down)?|spin[-_ ]?down|run[-_ ]?down"),
    ("steps", r"steps?"),
    ("hold", r"hold|steady"),
    ("ramp", r"ramp|sweep"),
    ("table", r"table"),
)
_SIZE = re.compile(
    r"(?<![\d.])(\d{1,2}(?:\.\d{1,2})?)x(\d{1,2}(?:\.\d{1,2})?)(?:x(\d))?(?![\d.])", re.IGNORECASE
)
_BY_UNIT = ("time", "throttle", "voltage", "current", "speed", "thrust", "torque")
_OTHER = re.compile(r"effic|humid|vibrat|accel|state of charge|soc|remaining|cell \d", re.IGNORECASE)
"""Names of quantities that share a unit with a channel."""

_USUAL_C_T = 0.12
_AIR_DENSITY = 1.2


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """A channel's column: name or position from 1; its unit; whether the log states it; doubts."""

    channel: str
    column: str | int
    unit: str | None
    stated: bool
    doubt: str = ""


@dataclass
class LogGuess:
    """What a log may be.

    Attributes
    ----------
    kind: of run, and `kind_doubt` what that rests on where it is not certain.
    columns: of the channels.
    motor, propeller: ids taken from the file's name, or None.
    diameter_in, pitch_in, blades: of the propeller, by the name or, roughly, by thrust and speed [inch].
    left_out: names of columns that are no known channel.
    propeller_doubt: why the run may have a propeller after all, where none is proposed.
    has_flywheel: whether a load but no propeller seems to be on the shaft; None where nothing tells.
    speed_of_wheel: the speed column's name where it says that the speed is a wheel's.
    """

    kind: str = "table"
    kind_doubt: str = ""
    columns: list[ColumnGuess] = field(default_factory=list)
    motor: str | None = None
    propeller: str | None = None
    has_propeller: bool = False
    diameter_in: float | None = None
    pitch_in: float | None = None
    blades: int | None = None
    size_doubt: str = ""
    left_out: list[str] = field(default_factory=list)
    propeller_doubt: str = ""
    has_flywheel: bool | None = False
    speed_of_wheel: str = ""


def guess_log(file: Path, table: RawTable) -> LogGuess:
    """A proposal for the log in `file`, whose cells are `table`."""
    guess = LogGuess()
    _by_header(table, guess)
    if table.names is None:
        _by_position(table, guess)
    else:
        _by_unit(table, guess)
        _by_stamps(table, guess)
    values = {c.channel: _values(table, c) for c in guess.columns}
    stem = re.sub(r"(\.[A-Za-z]+)+$", "", file.name)
    word = _name_kind(stem)
    guess.kind, guess.kind_doubt = _kind(values, word[0] if word else None)
    if word is not None:
        parts = _id_of(stem[: word[1]]), _id_of(stem[word[2] :])
        guess.motor = next((p for p in parts if p and "motor" in p.casefold()), parts[0])
        guess.propeller = parts[1] if parts[1] != guess.motor else None
    guess.has_propeller = "thrust" in values or guess.kind in ("ramp", "hold", "steps")
    if guess.kind in ("no-load", "coast-down", "spin-up"):
        guess.has_propeller = False
    elif not guess.has_propeller:
        guess.propeller_doubt = "if one was on: no thrust is logged"
    if guess.kind_doubt and not guess.has_propeller:
        guess.propeller_doubt = "if one was on"
    if guess.kind == "spin-up":
        guess.has_flywheel = "speed" in values and _rises_slowly(values["time"], values["speed"])
    elif guess.kind == "coast-down":
        guess.has_flywheel = None
    if guess.kind in ("spin-up", "coast-down"):
        names = [str(c.column) for c in guess.columns if c.channel == "speed"]
        guess.speed_of_wheel = next((n for n in names if "wheel" in n.casefold()), "")
        guess.has_flywheel = True if guess.speed_of_wheel else guess.has_flywheel
    if guess.has_propeller:
        _size(stem, values, guess)
    return guess


def _by_header(table: RawTable, guess: LogGuess) -> None:
    taken: set[str] = set()
    for position, name in enumerate(table.names or ()):
        label = label_of(name)
        clean = name.strip()
        if label.channel is None or label.channel in taken:
            if clean:
                guess.left_out.append(clean)
            continue
        if not np.isfinite(table.numbers[:, position]).any() and not table.texts.get(position):
            guess.left_out.append(clean)
            continue
        taken.add(label.channel)
        stated = (table.units[position].strip().strip("[]()") if table.units else "") or unit_of(name)
        unit, doubt = stated or None, ""
        if unit is not None:
            try:
                channel_conversion(label.channel, unit, 7)
            except UnitError:
                unit, doubt = None, f'the header says "{stated}", which is not understood'
        known = unit is not None
        if unit is None and label.channel == "time" and _stamps(table, position) is not None:
            guess.columns.append(ColumnGuess("time", clean, None, True))
            continue
        if unit is None and label.channel in ("thrust", "torque", "time", "throttle"):
            unit, why = _unit(label.channel, table.numbers[:, position])
            doubt = f"{doubt}; {why}" if doubt else why
        guess.columns.append(ColumnGuess(label.channel, clean, unit, known or unit is None, doubt))


def _by_unit(table: RawTable, guess: LogGuess) -> None:
    """Columns of unknown names whose stated unit only one channel has that no column is yet taken for."""
    found: dict[str, list[tuple[str, str]]] = {}
    for position, name in enumerate(table.names or ()):
        clean = name.strip()
        unit = (table.units[position].strip().strip("[]()") if table.units else "") or unit_of(name)
        if clean not in guess.left_out or not unit or _OTHER.search(clean):
            continue
        if label_of(name).channel is not None or not np.isfinite(table.numbers[:, position]).any():
            continue
        fits = [c for c in _BY_UNIT if _converts(c, unit)]
        if len(fits) == 1:
            found.setdefault(fits[0], []).append((clean, unit))
    for channel, columns in found.items():
        if any(c.channel == channel for c in guess.columns):
            continue
        name, unit = columns[0]
        others = ", ".join(n for n, _ in columns[1:4])
        doubt = "by its unit" + (f"; or is it {others}?" if others else "")
        guess.columns.append(ColumnGuess(channel, name, unit, False, doubt))
        guess.left_out.remove(name)


def _by_stamps(table: RawTable, guess: LogGuess) -> None:
    """The time, where no column is it yet, by its dates or times of day."""
    names = [n.strip() for n in table.names or ()]
    if any(c.channel == "time" for c in guess.columns):
        return
    stamped = [k for k, n in enumerate(names) if n in guess.left_out and _stamps(table, k) is not None]
    if len(stamped) == 1:
        name = names[stamped[0]]
        guess.columns.append(ColumnGuess("time", name, None, False, "by its dates or times of day"))
        guess.left_out.remove(name)


def _converts(channel: str, unit: str) -> bool:
    try:
        channel_conversion(channel, unit, 7)
    except UnitError:
        return False
    return True


def _unit(channel: str, values: Array) -> tuple[str | None, str]:
    """A unit for a column that states none, by the size of its numbers, and the candidates."""
    known = np.abs(values[np.isfinite(values)])
    top = float(np.percentile(known, 99)) if len(known) else 0.0
    if channel == "thrust":
        return ("gf" if top > 150 else "N" if top > 8 else "kgf"), "by its size; or N, gf, kgf, ozf"
    if channel == "torque":
        return ("mN m" if top > 8 else "N m"), "by its size; or N m, mN m, gf cm, ozf in"
    if channel == "throttle":
        return likely_scale(values), f"by its range; candidates: {candidates_text(values) or '%, 1, us'}"
    steps = np.diff(values[np.isfinite(values)])
    steps = steps[steps > 0]
    step = float(np.median(steps)) if len(steps) else 0.0
    return ("s" if step < 0.5 else "ms" if step < 300 else "us"), "by its step; or s, ms, us"


def _by_position(table: RawTable, guess: LogGuess) -> None:
    """Time, where a column only grows, and what numbers alone tell; the rest is for a person to say."""
    others: dict[int, Array] = {}
    for position in range(table.numbers.shape[1]):
        values = table.numbers[:, position]
        stamps = _stamps(table, position)
        known = values[np.isfinite(values)] if stamps is None else stamps[np.isfinite(stamps)]
        grows = len(known) > 2 and np.mean(np.diff(known) >= 0) > 0.99 and known[-1] > known[0]
        if grows and not any(c.channel == "time" for c in guess.columns):
            unit, why = _unit("time", values) if stamps is None else (None, "timestamps")
            guess.columns.append(
                ColumnGuess("time", position + 1, unit, False, f"the column that grows; {why}")
            )
        else:
            others[position] = values
    for channel, position, unit, why in channels_by_numbers(others):
        guess.columns.append(ColumnGuess(channel, position + 1, unit, False, why))
        del others[position]
    for position, values in others.items():
        known = values[np.isfinite(values)]
        low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
        guess.left_out.append(f"{position + 1} (from {low:g} to {high:g})")


def _stamps(table: RawTable, position: int) -> Array | None:
    """A column's times [s] where its cells are dates or times of day, else None."""
    return seconds_of_stamps(table.texts.get(position, {}), len(table.numbers))


def _values(table: RawTable, column: ColumnGuess) -> Array:
    """A channel in its own unit, as far as the guess goes; time in s."""
    names = [n.strip() for n in table.names or ()]
    position = column.column - 1 if isinstance(column.column, int) else names.index(column.column)
    raw = table.numbers[:, position]
    if column.channel == "time":
        stamps = _stamps(table, position)
        if stamps is not None:
            return stamps
        known = np.isfinite(raw)
        raw = raw.copy()
        raw[known] = unwrapped(raw[known], [])
    unit = column.unit or {"speed": "rpm", "voltage": "V", "current": "A"}.get(column.channel, "1")
    try:
        conversion = channel_conversion(column.channel, unit, 7)
    except UnitError:
        return raw
    return np.asarray(raw * conversion.factor + conversion.offset)


def _name_kind(stem: str) -> tuple[str, int, int] | None:
    """The kind that a file's name says, and where it says so."""
    for kind, pattern in _WORDS:
        found = re.search(rf"(?<![a-z])(?:{pattern})(?![a-z])", stem, re.IGNORECASE)
        if found:
            return kind, found.start(), found.end()
    return None


def _id_of(text: str) -> str | None:
    clean = re.sub(r"[^A-Za-z0-9._-]+", "-", text).strip("-._")
    # a number or a date alone counts runs, and names nothing
    return clean[:60] if re.search(r"[A-Za-z]{2}|[A-Za-z]\d|\dx\d", clean) else None


def _kind(values: dict[str, Array], named: str | None) -> tuple[str, str]:
    if "time" not in values:
        return "table", "" if named in (None, "table") else "no time column"
    if named is not None and named != "table":
        return named, ""
    speed, throttle, current = (values.get(c) for c in ("speed", "throttle", "current"))
    if speed is not None and np.isfinite(speed).sum() > 10:
        known = speed[np.isfinite(speed)]
        if (
            int(np.argmax(known)) < 0.2 * len(known)
            and known[-1] < 0.5 * known.max()
            and "thrust" not in values
        ):
            return "coast-down", "speed falls through most of it"
    if throttle is not None and np.isfinite(throttle).any():
        if speed is not None and _coasts(throttle, speed):
            return "coast-down", "the throttle is at zero while it turns"
        levels = np.unique(np.round(throttle[np.isfinite(throttle)], 3))
        changes = int(np.count_nonzero(np.abs(np.diff(throttle)) > 0.02))
        if len(levels) > 30:
            return "ramp", "throttle takes many values"
        if changes > 1:
            spent = float(np.nanmax(values["time"]) - np.nanmin(values["time"])) / changes
            return (
                "hold" if spent > 1.2 else "steps"
            ), f"throttle jumps {changes} times, every {spent:.1f} s"
        if "thrust" in values:
            return "hold", "throttle stays, and thrust is logged"
    if "thrust" in values:
        return "hold", "thrust is logged, throttle is not"
    busy = current is not None and speed is not None and _rises_slowly(values["time"], speed)
    return (
        ("spin-up", "speed rises slowly") if busy else ("no-load", "neither thrust nor changes of throttle")
    )


def _coasts(throttle: Array, speed: Array) -> bool:
    """Whether the throttle is at zero for a third of the rows in which the shaft turns, at their end."""
    turning = np.flatnonzero(speed > 0.03 * np.nanmax(speed))
    if len(turning) < 10:
        return False
    late = throttle[turning[int(0.7 * len(turning)) :]]
    return bool(np.nanmax(late, initial=0.0) < 0.01)


def _rises_slowly(time: Array, speed: Array) -> bool:
    known = np.isfinite(time) & np.isfinite(speed)
    t, w = time[known], speed[known]
    if len(w) < 10 or not w.max() > 0:
        return False
    up = np.flatnonzero(w > 0.8 * w.max())[0]
    moving = np.flatnonzero(w > 0.05 * w.max())[0]
    return bool(t[up] - t[moving] > 0.3)


def _size(stem: str, values: dict[str, Array], guess: LogGuess) -> None:
    """The propeller's size: by the file's name, else from thrust at speed; the fourth root forgives much."""
    named = _SIZE.search(stem)
    if named:
        diameter, pitch = float(named[1]), float(named[2])
        pitch = pitch / 10.0 if pitch > 2.0 * diameter else pitch  # 7x35 is 7 by 3.5
        guess.diameter_in, guess.pitch_in = diameter, pitch
        guess.blades = int(named[3]) if named[3] else None
        guess.size_doubt = "by the file's name"
        guess.propeller = guess.propeller or f"p{diameter:g}x{pitch:g}"
        return
    thrust, speed = values.get("thrust"), values.get("speed")
    guess.diameter_in, guess.pitch_in = 7.0, 4.0
    guess.size_doubt = "not known: measure it"
    if thrust is None or speed is None:
        return
    known = np.isfinite(thrust) & np.isfinite(speed)
    if not known.any() or not speed[known].max() > 0:
        return
    fast = known & (speed > 0.8 * speed[known].max())
    turns = float(np.median(speed[fast])) / (2.0 * np.pi)
    force = abs(float(np.median(thrust[fast])))
    if force > 0:
        inches = (force / (_USUAL_C_T * _AIR_DENSITY * turns**2)) ** 0.25 / 0.0254
        guess.diameter_in = max(round(2.0 * inches) / 2.0, 0.5)
        guess.pitch_in = max(round(1.2 * inches) / 2.0, 0.5)
        guess.size_doubt = "roughly, from thrust at speed: measure it"
