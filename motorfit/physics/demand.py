"""The way back: what a motor must be given so that it turns at a speed, against a torque.

Closed forms, no iteration but for the throttle: torque fixes the current, current and speed the power, power
and supply the duty. Rows of a table and hover are answered this way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.compiled import kernel
from motorfit.physics.drive import Drive
from motorfit.physics.rows import shared_out
from motorfit.physics.values import PhysicsError, require_between

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Demand:
    """What it takes, each array (draws, points).

    Attributes
    ----------
    motor_current : [A];  motor_voltage : [V];  bus_current : [A];  bus_voltage : [V];  duty : [1]
    throttle : [1];  electrical_power : into the controller [W]
    feasible : False where torque is beyond saturation, current beyond the limit, or duty beyond 1; what is
        not defined there is NaN
    """

    motor_current: Array
    motor_voltage: Array
    bus_current: Array
    bus_voltage: Array
    duty: Array
    throttle: Array
    electrical_power: Array
    feasible: NDArray[np.bool_]


def current_for_torque(torque: ArrayLike, omega: ArrayLike, drive: Drive) -> Array:
    """Motor current [A] that gives a shaft torque [N m] at a speed [rad/s]; NaN where none does.

    The smaller root of (Q/I_s²) I² - K_t I + K_t I_0(ω) + Q = 0. All arguments broadcast; fields of ``drive``
    that are (draws,) stand as columns against (draws, points).
    """
    q, w = np.asarray(torque, dtype=np.float64), np.asarray(omega, dtype=np.float64)
    k_t, i_s = _column(drive.k_t), _column(drive.saturation_current)
    drag = _column(drive.drag_static) + w * (_column(drive.drag_slope) + w * _column(drive.drag_windage))
    return current_against(q, drag, k_t, i_s)


def current_against(torque: Array, drag: Array, k_t: Array, saturation_current: Array) -> Array:
    """Motor current [A] for a torque [N m], a drag current [A], K_t [N m/A] and I_s [A]; NaN where none."""
    need = k_t * drag + torque
    inside = k_t * k_t - 4.0 * torque / (saturation_current * saturation_current) * need
    root = np.sqrt(np.where(inside >= 0.0, inside, math.nan))
    return np.asarray(2.0 * need / (k_t + root), dtype=np.float64)


def demand(omega: ArrayLike, torque: ArrayLike, supply_voltage: ArrayLike, drive: Drive) -> Demand:
    """What must be given for a speed against a torque.

    Parameters
    ----------
    omega : shaft speed [rad/s], (draws, points), (points,) or a number, not negative
    torque : shaft torque [N m], likewise
    supply_voltage : open-circuit voltage [V], likewise
    drive : motor, controller and source resistance, (draws,)

    Raises
    ------
    PhysicsError : for a speed, torque or voltage that is negative or not a number, or shapes that do not fit
    """
    require_between(
        "speed", np.asarray(omega, dtype=np.float64), 0.0, 1e6, "rad/s", "Give the shaft's speed."
    )
    require_between(
        "torque", np.asarray(torque, dtype=np.float64), 0.0, 1e6, "N m", "Give the load's torque."
    )
    require_between(
        "supply voltage", np.asarray(supply_voltage, dtype=np.float64), 1e-9, 1e4, "V", "Give volts."
    )
    columns = [np.atleast_2d(np.asarray(a, dtype=np.float64)) for a in (omega, torque, supply_voltage)]
    try:
        w, q, e, _ = np.broadcast_arrays(*columns, _column(drive.k_e))
    except ValueError as error:
        raise PhysicsError(
            f"speed {np.shape(omega)}, torque {np.shape(torque)}, supply {np.shape(supply_voltage)}, draws "
            f"{np.shape(drive.k_e)} do not fit together; allowed are numbers, (points,) or (draws, points)."
        ) from error
    i = current_for_torque(q, w, drive)
    resistance, r_c = _column(drive.resistance), _column(drive.controller_resistance)
    r_s, idle = _column(drive.source_resistance), _column(drive.idle_current)
    v_m = _column(drive.k_e) * w + resistance * i
    need = v_m + r_c * i
    left = e - r_s * idle
    inside = left * left - 4.0 * r_s * i * need
    d = 2.0 * need / (left + np.sqrt(np.where(inside >= 0.0, inside, math.nan)))
    bus = d * i + idle
    x = throttle_for_duty(np.minimum(d, 1.0), drive)
    return Demand(
        motor_current=i,
        motor_voltage=v_m,
        bus_current=bus,
        bus_voltage=e - r_s * bus,
        duty=d,
        throttle=np.where(d <= 1.0, x, math.nan),
        electrical_power=bus * (e - r_s * bus),
        feasible=np.asarray((d <= 1.0) & (i <= _column(drive.current_limit))),
    )


def throttle_for_duty(duty: ArrayLike, drive: Drive) -> Array:
    """Throttle [1] that gives a duty [1] on a draw's map; 0 where even no throttle gives more.

    ``duty`` is (draws, points) or broadcasts to it. For a map that rises; the result is within 1e-12.
    """
    columns = (_column(a) for a in (drive.duty_slope, drive.duty_curvature, drive.duty_cubic))
    d, s, c, e = np.broadcast_arrays(np.atleast_2d(np.asarray(duty, dtype=np.float64)), *columns)
    d = np.ascontiguousarray(d)
    out = np.empty(d.shape)
    maps = np.ascontiguousarray(np.stack([s[:, 0], c[:, 0], e[:, 0]], axis=1))
    shared_out(lambda a, b: _invert(maps, d, out, a, b), *d.shape)
    return out


@kernel
def _invert(maps: Array, duty: Array, out: Array, first: int, last: int) -> None:
    """Draws first to last, by Newton in a shrinking bracket; maps (draws, 3), duty and out (draws, grid)."""
    for r in range(first, last):
        s, c, e = maps[r, 0], maps[r, 1], maps[r, 2]
        for k in range(duty.shape[1]):
            d = duty[r, k]
            if d != d or 1.0 - s >= d:
                out[r, k] = 0.0 if d == d else math.nan
                continue
            low, high = 0.0, 1.0
            x = min(max(1.0 - (1.0 - d) / max(s, 0.1), 0.0), 1.0)
            for _ in range(60):
                y = 1.0 - x
                off = 1.0 - s * y + c * x * y + e * x * y * (1.0 - 2.0 * x) - d
                if off < 0.0:
                    low = x
                else:
                    high = x
                slope = s + c * (1.0 - 2.0 * x) + e * (1.0 - 6.0 * x * y)
                new = x - off / slope if slope > 0.0 else -1.0
                if not low <= new <= high:
                    new = 0.5 * (low + high)
                moved = abs(new - x)
                x = new
                if moved < 1e-14 or high - low < 1e-13:
                    break
            out[r, k] = x


def _column(value: ArrayLike) -> Array:
    """A field of one value a draw as a column, so that it stands against (draws, points)."""
    return np.atleast_1d(np.asarray(value, dtype=np.float64))[:, np.newaxis]
