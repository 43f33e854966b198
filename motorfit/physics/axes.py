"""The speed at which a motor gives, or takes, what is asked for.

Thrust, torque and shaft power belong to one speed of the propeller each, in closed form. Bus power and bus
current fix what goes into the motor, I (K_e ω + (R + R_c) I), with I(ω) the current that the propeller's
torque asks for; its root is found by Newton steps on logarithms inside a shrinking bracket. What throttle
that speed takes is then `motorfit.physics.demand`.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.compiled import kernel
from motorfit.physics.drive import Drive, Load
from motorfit.physics.rows import (
    R_AQ,
    R_I0,
    R_I1,
    R_I2,
    R_IQ,
    R_KE,
    R_KT,
    R_LOG_REF,
    R_R,
    R_RC,
    R_RS,
    R_SAT,
    R_TORQUE,
    rows_of,
    shared_out,
)
from motorfit.physics.values import PhysicsError, require_between

__all__ = ["AXES", "Axis", "speed_at", "torque_at"]

Array = NDArray[np.float64]
Axis = Literal["speed", "torque", "thrust", "mechanical_power", "electrical_power", "current"]

AXES: dict[Axis, str] = {
    "speed": "rad/s",
    "torque": "N m",
    "thrust": "N",
    "mechanical_power": "W",
    "electrical_power": "W",
    "current": "A",
}
"""What may be asked for, with its SI unit; power and current are those of one motor from the bus."""

_FASTEST = 1e5  # rad/s


@kernel
def _power_in(q: Array, log_w: float) -> float:
    """Power into controller and motor [W] at the logarithm of a speed; infinite beyond saturation."""
    w = math.exp(log_w)
    torque = q[R_TORQUE] * math.exp(2.0 * log_w + q[R_AQ] * (log_w - q[R_LOG_REF]))
    need = q[R_KT] * (q[R_I0] + w * (q[R_I1] + w * q[R_I2])) + torque
    inside = q[R_KT] * q[R_KT] - 4.0 * torque * q[R_SAT] * need
    if inside < 0.0:
        return math.inf
    i = 2.0 * need / (q[R_KT] + math.sqrt(inside))
    into: float = i * (q[R_KE] * w + (q[R_R] + q[R_RC]) * i)
    return into


@kernel
def _speed(q: Array, power: float, guess: float) -> float:
    """Logarithm of the speed at which `_power_in` is a power [W]; NaN where it is not met."""
    low, high = math.log(1e-3), math.log(_FASTEST)
    if not (_power_in(q, low) <= power <= _power_in(q, high)):
        return math.nan
    x, target = min(max(guess, low), high), math.log(power)
    step = 1e-4
    for _ in range(100):
        here = _power_in(q, x)
        if here <= power:
            low = x
        else:
            high = x
        there = _power_in(q, x + step)
        new = math.nan
        if here > 0.0 and there < math.inf:
            slope = (math.log(there) - math.log(here)) / step
            new = x + (target - math.log(here)) / slope
        newton = low <= new <= high
        if not newton:
            new = 0.5 * (low + high)
        moved = abs(new - x)
        x = new
        if (newton and moved < 1e-9) or high - low < 1e-13:
            break
    return x


@kernel
def _solve(p: Array, value: Array, supply: Array, power: bool, out: Array, first: int, last: int) -> None:
    """Draws first to last; bus power [W] or current [A] value (grid,); out (draws, grid) speed [rad/s]."""
    for s in range(first, last):
        q = p[s]
        e = supply[s] if supply.shape[0] > 1 else supply[0]
        guess = math.log(500.0)
        for k in range(value.shape[0]):
            bus = value[k]
            if power:
                inside = e * e - 4.0 * q[R_RS] * value[k]
                bus = 2.0 * value[k] / (e + math.sqrt(inside)) if inside >= 0.0 else math.nan
            into = (e - q[R_RS] * bus) * (bus - q[R_IQ])
            x = _speed(q, into, guess) if into > 0.0 else math.nan
            if x == x:
                guess = x
            out[s, k] = math.exp(x)


def speed_at(axis: Axis, value: ArrayLike, supply_voltage: ArrayLike, drive: Drive, load: Load) -> Array:
    """Speed [rad/s] at which each draw meets a value of an axis, (draws, grid); NaN where none does.

    Parameters
    ----------
    axis : one of AXES
    value : (grid,) in the axis's SI unit, not negative
    supply_voltage : open-circuit [V], a number or (draws,)
    drive, load : motor, controller and source resistance; propeller

    Raises
    ------
    PhysicsError : for an axis that is not known or a value that is negative or no number
    """
    if axis not in AXES:
        raise PhysicsError(f"axis is {axis!r}; allowed are {', '.join(AXES)}. Choose one of them.")
    x = np.atleast_1d(np.asarray(value, dtype=np.float64))
    require_between(axis, x, 0.0, 1e9, AXES[axis], "Give values above 0.")
    e = np.atleast_1d(np.asarray(supply_voltage, dtype=np.float64))
    p = rows_of(drive, load, e)
    out = np.empty((p.shape[0], x.size))
    if axis in ("electrical_power", "current"):
        power = axis == "electrical_power"
        shared_out(lambda a, b: _solve(p, x, e, power, out, a, b), p.shape[0], x.size)
        return out
    if axis == "speed":
        out[:] = x
        return out
    reference = np.atleast_1d(load.reference_speed())[:, np.newaxis]
    exponent = np.atleast_1d(load.thrust_exponent if axis == "thrust" else load.torque_exponent)[
        :, np.newaxis
    ]
    factor = np.atleast_1d(load.thrust_factor() if axis == "thrust" else load.torque_factor())[:, np.newaxis]
    degree = 3.0 if axis == "mechanical_power" else 2.0
    out[:] = reference * (x / (factor * reference**degree)) ** (1.0 / (degree + exponent))
    return out


def torque_at(omega: ArrayLike, load: Load) -> tuple[Array, Array]:
    """Thrust [N] and torque [N m] of a propeller at speeds (draws, grid) [rad/s]."""
    w = np.asarray(omega, dtype=np.float64)
    reference = np.atleast_1d(load.reference_speed())[:, np.newaxis]
    thrust, torque = (np.atleast_1d(f)[:, np.newaxis] for f in (load.thrust_factor(), load.torque_factor()))
    a_t, a_q = (
        np.atleast_1d(np.asarray(a, dtype=np.float64))[:, np.newaxis]
        for a in (load.thrust_exponent, load.torque_exponent)
    )
    log_n = np.log(np.maximum(w, 1e-6) / reference)
    return thrust * w * w * np.exp(a_t * log_n), torque * w * w * np.exp(a_q * log_n)
