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


def unstated_unit(channel: str, column: Assigned, values: NDArray[np.float64]) -> tuple[str | None, Remark]:
    """The unit to assume and the note that says so; None with an error where a guess could go wrong by much.

    Thrust and torque are logged in too many units to guess; throttle is told by its range, time by its step.
    """
    unit: str | None = _USUAL.get(channel)
    known = values[np.isfinite(values)]
    if channel == "throttle" and len(known) > 0:
        unit = _throttle_unit(float(known.min()), float(known.max()))
    elif channel == "time" and len(known) > 1:
        steps = np.diff(known)
        steps = steps[steps > 0]
        unit = "s" if len(steps) > 0 and np.median(steps) < _LONGEST_STEP_S else None
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


def _throttle_unit(low: float, high: float) -> str | None:
    if low >= 0 and high <= 1:
        return "1"
    if low >= 0 and 1.5 < high <= 100.5:
        return "%"
    if low >= 800 and high <= 2200:
        return "us"
    return None
