"""What to take a column for whose unit nobody stated: an assumption said aloud, or a refusal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.columns import Assigned
from motorfit.bench.rawtable import Remark
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
        unit = _throttle_unit(float(known.min()), float(known.max()))
    elif channel == "time" and len(known) > 1:
        unit = _time_unit(known)
    if unit is None:
        return None, Remark(
            "error",
            "no-unit",
            f'column "{column.label}" does not say its unit',
            f"Write it in the header, as in {channel} [{EXAMPLES[channel].split(',')[0]}], or in "
            f"[runs.columns]; allowed: {EXAMPLES[channel]}.",
        )
    return unit, Remark(
        "note",
        "assumed-unit",
        f'column "{column.label}" does not say its unit; {unit} assumed',
        "State it in the header or in [runs.columns] if it is another.",
    )


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


def _throttle_unit(low: float, high: float) -> str | None:
    if low >= 0 and high <= 1:
        return "1"
    if low >= 0 and 1.5 < high <= 100.5:
        return "%"
    if low >= 800 and high <= 2200:
        return "us"
    return None
