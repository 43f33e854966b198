"""What a prediction is plotted against: an axis of the user's, its points, and how its values are named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.posterior import FloatArray
from motorfit.physics.axes import Axis as PhysicsAxis

MAX_POINTS = 2000
DEFAULT_THROTTLE = tuple(round(0.05 * k, 2) for k in range(1, 21))

AxisName = Literal["throttle", "speed", "torque", "thrust", "mechanical_power", "electrical_power", "current"]


@dataclass(frozen=True)
class Axis:
    """Points (G,) of an axis in the unit of ``curve``, its name among the curves; ``factor`` leads to SI."""

    name: AxisName
    curve: str
    unit: str
    factor: float
    points: FloatArray

    def text(self) -> str:
        """How a message names it: "At throttle 0.5", "At thrust [N] 3 to 4"."""
        name = self.name.replace("_", " ")
        return name if not self.unit else f"{name} [{self.unit}]"


# name: (curve, unit, factor to SI)
_KINDS: dict[AxisName, tuple[str, str, float]] = {
    "throttle": ("throttle", "", 1.0),
    "speed": ("speed_rpm", "rpm", 2.0 * math.pi / 60.0),
    "torque": ("torque_nm", "N m", 1.0),
    "thrust": ("thrust_n", "N", 1.0),
    "mechanical_power": ("mechanical_power_w", "W", 1.0),
    "electrical_power": ("electrical_power_w", "W", 1.0),
    "current": ("current_a", "A", 1.0),
}
AXIS_NAMES = tuple(_KINDS)


def axis_of(
    against: str,
    points: Sequence[float] | NDArray[Any] | None,
    throttle: Sequence[float] | NDArray[Any] | None,
) -> Axis:
    """Return the axis of a question.

    Parameters
    ----------
    against:
        One of AXIS_NAMES.
    points:
        Its points, in rpm, N m, N, W or A of one motor; for throttle 0 to 1.
    throttle:
        Points of throttle, another name for them; 0.05 to 1 in steps of 0.05 where neither is given.

    Raises
    ------
    AnswerError
        An unknown axis, no points for one that needs them, or points that cannot be.
    """
    if against not in _KINDS:
        raise AnswerError("against", against, ", ".join(AXIS_NAMES), "Choose one of them.")
    name: AxisName = against
    curve, unit, factor = _KINDS[name]
    if name != "throttle":
        if throttle is not None:
            raise AnswerError(
                "throttle", list(throttle), f"points of {name} alone", "Give --points, or no other axis."
            )
        if points is None:
            raise AnswerError("points", None, f"points of {name} in {unit}", "Give, for example, 2,4,6.")
        grid = _listed("points", points)
        bad = grid[~((grid > 0.0) & (grid < 1e9))]
        if bad.size:
            raise AnswerError("points", float(bad[0]), f"values above 0 in {unit}", "Leave it out.")
        return Axis(name, curve, unit, factor, grid)
    if points is not None and throttle is not None:
        raise AnswerError("points", list(points), "throttle or points, not both", "Leave one of them out.")
    grid = _listed("throttle", DEFAULT_THROTTLE if throttle is None and points is None else
                   throttle if points is None else points)  # fmt: skip
    outside = grid[~((grid >= 0.0) & (grid <= 1.0))]
    if outside.size:
        raise AnswerError(
            "throttle",
            float(outside[0]),
            "fractions from 0 to 1",
            "Full throttle is 1, not 100; a fifth is 0.2.",
        )
    return Axis(name, curve, unit, factor, grid)


def physics_axis(axis: Axis) -> PhysicsAxis:
    """Return the axis by its name in the physics; for all but throttle."""
    name: Any = axis.name
    found: PhysicsAxis = name
    return found


def _listed(what: str, points: Sequence[float] | NDArray[Any] | None) -> FloatArray:
    grid = np.asarray(points, dtype=np.float64)
    if grid.ndim != 1 or not 1 <= grid.size <= MAX_POINTS:
        raise AnswerError(
            what, grid.shape, f"a list of 1 to {MAX_POINTS} points", "Give, for example, 0.2,0.4."
        )
    return grid
