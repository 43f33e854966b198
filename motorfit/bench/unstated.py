"""What to take a column for whose unit nobody stated: an assumption said aloud, or a refusal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.columns import Assigned
from motorfit.bench.rawtable import Remark
from motorfit.bench.throttlescale import candidates_text, told_scale
from motorfit.units import EXAMPLES

_USUAL = {
    "voltage": "V",
    "motor_voltage": "V",
    "current": "A",
    "motor_current": "A",
    "speed": "rpm",
    "winding_temperature": "degC",
}
_LONGEST_STEP_S = 0.5
_SHORTEST_STEP_S = 2e-5
_EPOCHS = {"ms": 1e3, "us": 1e6, "ns": 1e9}
_SPREADSHEET_DAYS = (20_000.0, 80_000.0)
"""Days since 1900 of the years 1954 to 2119."""


def unstated_unit(channel: str, column: Assigned, values: NDArray[np.float64]) -> tuple[str | None, Remark]:
    """The unit to assume and the note that says so; None with an error where a guess could go wrong by much.

    Thrust and torque are logged in too many units to guess; throttle is told by its range, time by its step.
    """
    unit: str | None = _USUAL.get(channel)
    known = values[np.isfinite(values)]
    if channel == "throttle" and len(known) > 0:
        unit = told_scale(known)
    elif channel == "time" and len(known) > 1:
        unit = _time_unit(known)
    if unit is None:
        fits = _candidates(channel, known)
        return None, Remark(
            "error",
            "no-unit",
            f'column "{column.label}" does not say its unit{_range(known)}',
            f"Write it in the header, as in {channel} [{EXAMPLES[channel].split(',')[0]}], or in "
            f"[runs.columns] {channel} = {{ column = ..., unit = ... }}; {fits}allowed: {EXAMPLES[channel]}.",
        )
    return unit, Remark(
        "note",
        "assumed-unit",
        f'column "{column.label}" does not say its unit; {unit} assumed',
        "State it in the header or in [runs.columns] if it is another.",
    )


def _range(known: NDArray[np.float64]) -> str:
    return f"; it goes from {known.min():.6g} to {known.max():.6g}" if known.size else ""


def _candidates(channel: str, known: NDArray[np.float64]) -> str:
    """What the candidates would make of the numbers, for a person to see which it is."""
    if channel == "throttle":
        fits = candidates_text(known)
        return f"by its range it may be {fits}; " if fits else ""
    if channel != "time" or len(known) < 2:
        return ""
    span, steps = float(np.ptp(known)), np.abs(np.diff(known))
    step = float(np.median(steps[steps > 0])) if np.any(steps > 0) else 0.0
    would = [
        f"{_seconds(span * size)} in {unit}" + (f", a row every {_seconds(step * size)}" if step else "")
        for unit, size in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6))
    ]
    return f"the log would last {'; '.join(would)}; "


def _seconds(span: float) -> str:
    if span >= 7200:
        return f"{span / 3600:.3g} hours"
    if span >= 1 or span == 0:
        return f"{span:.4g} s"
    return f"{1e3 * span:.3g} ms" if span >= 1e-3 else f"{1e6 * span:.3g} us"


def _time_unit(known: NDArray[np.float64]) -> str | None:
    """By the step; by the size, where it is the time since 1970 or the days of a spreadsheet."""
    steps = np.diff(known)
    steps = steps[steps > 0]
    if len(steps) == 0:
        return None
    step, first = float(np.median(steps)), float(known[0])
    for unit, per_second in _EPOCHS.items():
        if 1.0e9 < first / per_second < 2.5e9 and step / per_second < 100.0:
            return unit
    if _SPREADSHEET_DAYS[0] < first < _SPREADSHEET_DAYS[1] and step < 1e-3 and np.ptp(known) < 2.0:
        return "d" if step < _SHORTEST_STEP_S else None
    return "s" if _SHORTEST_STEP_S < step < _LONGEST_STEP_S else None
