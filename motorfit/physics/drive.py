"""What drives and what is driven, as value objects of the steady solvers: one row a draw.

Every field is a number or an array of one value a draw; the fields of one object broadcast to its length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.physics.propeller import REFERENCE_REV_PER_S
from motorfit.physics.values import PhysicsError, require_between

_REMEDY = "Check the draw or the value it came from."


def _check(owner: object, positive: tuple[str, ...], signed: tuple[str, ...]) -> None:
    for field in fields(owner):  # type: ignore[arg-type]
        value = np.asarray(getattr(owner, field.name), dtype=np.float64)
        if value.ndim > 1:
            raise PhysicsError(
                f"{field.name} has shape {value.shape}; allowed are one number, or one value a "
                "draw, (draws,). Flatten chains and draws first."
            )
        low = -1.9 if field.name in signed else 0.0
        if field.name in positive:
            low = math.ulp(0.0)
        high = math.inf
        require_between(field.name, value, low, high, "(SI)", _REMEDY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """Motor, controller and supply's resistance; each field a number or (draws,).

    Attributes
    ----------
    k_e : back-EMF constant [V s/rad];  k_t : torque constant [N m/A];  resistance : winding [ohm]
    drag_static : i_0 [A];  drag_slope : i_1 [A s/rad];  drag_windage : i_2 [A s²/rad²]
    saturation_current : I_s [A], inf for none
    controller_resistance : R_c [ohm];  idle_current : I_q [A]
    current_limit : of motor current [A], inf for none
    duty_slope, duty_curvature, duty_cubic : the duty map's s, c, e [1]
    source_resistance : R_s [ohm], 0 for an ideal supply

    Raises
    ------
    PhysicsError : for a value that is not a number, negative, or zero where it cannot be
    """

    k_e: ArrayLike
    k_t: ArrayLike
    resistance: ArrayLike
    drag_static: ArrayLike = 0.0
    drag_slope: ArrayLike = 0.0
    drag_windage: ArrayLike = 0.0
    saturation_current: ArrayLike = math.inf
    controller_resistance: ArrayLike = 0.0
    idle_current: ArrayLike = 0.0
    current_limit: ArrayLike = math.inf
    duty_slope: ArrayLike = 1.0
    duty_curvature: ArrayLike = 0.0
    duty_cubic: ArrayLike = 0.0
    source_resistance: ArrayLike = 0.0

    def __post_init__(self) -> None:
        """Check every field."""
        _check(
            self,
            positive=("k_e", "k_t", "resistance", "saturation_current", "current_limit"),
            signed=("duty_curvature", "duty_cubic"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A propeller in air of a density; each field a number or (draws,).

    Attributes
    ----------
    thrust_coefficient, torque_coefficient : C_T, C_Q [1] at the reference speed
    diameter : [m];  density : of the air [kg/m³]
    thrust_exponent, torque_exponent : Reynolds exponents a_T, a_Q [1], above -1.9
    reference_rev_per_s : [rev/s]

    Raises
    ------
    PhysicsError : for a value that is not a number or negative
    """

    thrust_coefficient: ArrayLike
    torque_coefficient: ArrayLike
    diameter: ArrayLike
    density: ArrayLike
    thrust_exponent: ArrayLike = 0.0
    torque_exponent: ArrayLike = 0.0
    reference_rev_per_s: ArrayLike = REFERENCE_REV_PER_S

    def __post_init__(self) -> None:
        """Check every field."""
        _check(
            self,
            positive=("diameter", "density", "reference_rev_per_s"),
            signed=("thrust_exponent", "torque_exponent"),
        )

    def thrust_factor(self) -> NDArray[np.float64]:
        """T/ω² at the reference speed [N s²/rad²]."""
        c, d, rho = np.asarray(self.thrust_coefficient), np.asarray(self.diameter), np.asarray(self.density)
        return np.asarray(c * rho * d**4 / (2.0 * math.pi) ** 2, dtype=np.float64)

    def torque_factor(self) -> NDArray[np.float64]:
        """Q/ω² at the reference speed [N m s²/rad²]."""
        c, d, rho = np.asarray(self.torque_coefficient), np.asarray(self.diameter), np.asarray(self.density)
        return np.asarray(c * rho * d**5 / (2.0 * math.pi) ** 2, dtype=np.float64)

    def reference_speed(self) -> NDArray[np.float64]:
        """Angular speed of the reference [rad/s]."""
        return np.asarray(self.reference_rev_per_s, dtype=np.float64) * 2.0 * math.pi
