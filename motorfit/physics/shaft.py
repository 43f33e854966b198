"""What the bare shaft gives against speed at one throttle: torque, currents, and the points that mark them.

At a speed the current is I = (d (E - R_s I_q) - K_e ω)/(R + R_c + d² R_s), held by the limit, and the torque
is that of `motorfit.physics.motor`. Below the limit and without saturation the curve is nearly a straight
line from stall to no load, the textbook's torque-speed line of the direct-current machine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.physics import controller
from motorfit.physics.drive import Drive
from motorfit.physics.steady import operating_points
from motorfit.physics.values import require_between

__all__ = ["ShaftCurve", "ShaftPoints", "shaft_curve", "shaft_points"]

Array = NDArray[np.float64]

_FINE = 241


@dataclass(frozen=True, slots=True)
class ShaftCurve:
    """At given speeds, each (draws, speeds); NaN above a draw's no-load speed, where it would be driven.

    ``torque`` [N m], ``motor_current`` [A], ``bus_current`` [A], ``bus_voltage`` [V].
    """

    torque: Array
    motor_current: Array
    bus_current: Array
    bus_voltage: Array


@dataclass(frozen=True, slots=True)
class ShaftPoints:
    """What marks the curve, each (draws,), SI.

    ``no_load_speed``, ``no_load_current`` (bus); ``stall_torque``, ``stall_current`` (motor) with the shaft
    held; ``peak_torque``; ``slope`` of torque over speed at no load [N m s/rad], negative; ``peak_power`` (at
    the shaft) and ``peak_power_speed``; ``peak_efficiency`` (shaft over bus) and ``peak_efficiency_speed``.
    """

    no_load_speed: Array
    no_load_current: Array
    stall_torque: Array
    stall_current: Array
    peak_torque: Array
    slope: Array
    peak_power: Array
    peak_power_speed: Array
    peak_efficiency: Array
    peak_efficiency_speed: Array


def shaft_curve(omega: ArrayLike, throttle: float, supply_voltage: ArrayLike, drive: Drive) -> ShaftCurve:
    """Torque and currents at speeds.

    Parameters
    ----------
    omega : speeds [rad/s], (speeds,) or (draws, speeds), not negative
    throttle : [1]
    supply_voltage : open-circuit [V], a number or (draws,)
    drive : motor, controller and source resistance, (draws,)
    """
    w = np.atleast_2d(np.asarray(omega, dtype=np.float64))
    require_between("speed", w, 0.0, 1e6, "rad/s", "Give the shaft's speed.")
    e, d, total = _source(throttle, supply_voltage, drive)
    k_e, k_t, limit = (_column(a) for a in (drive.k_e, drive.k_t, drive.current_limit))
    free = (d * e - k_e * w) / total
    i = np.minimum(free, limit)
    soft = _column(drive.saturation_current)
    over = i - _drag(drive, w)
    torque = k_t / (1.0 + (i / soft) ** 2) * over
    idle, r_s = _column(drive.idle_current), _column(drive.source_resistance)
    need = k_e * w + (_column(drive.resistance) + _column(drive.controller_resistance)) * i
    root = np.sqrt(np.maximum(e * e - 4.0 * r_s * i * need, 0.0))
    bus = np.where(free > limit, 2.0 * need / (e + root), d) * i + idle
    drives = over >= 0.0

    def where(values: Array) -> Array:
        return np.where(drives, values, math.nan)

    return ShaftCurve(where(torque), where(i), where(bus), where(e + r_s * idle - r_s * bus))


def shaft_points(throttle: float, supply_voltage: ArrayLike, drive: Drive) -> ShaftPoints:
    """The points that mark the curve; arguments as in `shaft_curve`.

    Peaks are the largest of a fine grid from stall to no load; those of power and efficiency are moved to the
    top of the parabola through three of its points. Peak torque is that of the grid: it stands at a corner
    (stall, or where the limit ends), or on a saturated curve's flat top.
    """
    volts = np.atleast_1d(np.asarray(supply_voltage, dtype=np.float64))
    top = operating_points(throttle, volts[:, np.newaxis], drive)
    _, _, total = _source(throttle, volts, drive)
    w0 = top.speed[:, 0]
    # up to the very last, where rounding may drop below no torque
    grid = np.linspace(0.0, 1.0, _FINE)[np.newaxis, :] * (w0 * (1.0 - 1e-9))[:, np.newaxis]
    curve = shaft_curve(grid, throttle, volts, drive)
    torque = np.nan_to_num(curve.torque, nan=0.0)
    power = torque * grid
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.nan_to_num(power / (curve.bus_current * curve.bus_voltage))
    most, most_at = _top(power)
    best, best_at = _top(share)
    drag_slope = _column(drive.drag_slope) + 2.0 * w0[:, np.newaxis] * _column(drive.drag_windage)
    k_t = _column(drive.k_t) / (1.0 + (top.motor_current[:, :1] / _column(drive.saturation_current)) ** 2)
    slope = -k_t * (_column(drive.k_e) / total + drag_slope)
    return ShaftPoints(
        no_load_speed=w0,
        no_load_current=top.bus_current[:, 0],
        stall_torque=torque[:, 0],
        stall_current=np.nan_to_num(curve.motor_current[:, 0], nan=0.0),
        peak_torque=torque.max(axis=1),
        slope=np.broadcast_to(slope[:, 0], w0.shape).copy(),
        peak_power=most,
        peak_power_speed=most_at * w0,
        peak_efficiency=best,
        peak_efficiency_speed=best_at * w0,
    )


def _source(throttle: float, supply_voltage: ArrayLike, drive: Drive) -> tuple[Array, Array, Array]:
    """Voltage left behind the idle draw [V], duty [1] and resistance [ohm], each (draws or 1, 1)."""
    require_between("throttle", throttle, 0.0, 1.0, "(1)", "Give throttle as a share of full, 0.5 for 50 %.")
    shape = (_column(a) for a in (drive.duty_slope, drive.duty_curvature, drive.duty_cubic))
    d = np.asarray(controller.duty(throttle, *shape))
    r_s = _column(drive.source_resistance)
    e = _column(supply_voltage) - r_s * _column(drive.idle_current)
    return e, d, _column(drive.resistance) + _column(drive.controller_resistance) + d * d * r_s


def _drag(drive: Drive, w: Array) -> Array:
    """No-load current [A] at speeds [rad/s]."""
    return np.asarray(
        _column(drive.drag_static) + w * (_column(drive.drag_slope) + w * _column(drive.drag_windage))
    )


def _top(values: Array) -> tuple[Array, Array]:
    """Greatest value of each row and where it stands along the row, 0 to 1, by a parabola through its top."""
    last = values.shape[1] - 1
    k = np.clip(np.argmax(values, axis=1), 1, last - 1)
    row = np.arange(values.shape[0])
    a, b, c = values[row, k - 1], values[row, k], values[row, k + 1]
    bend = a - 2.0 * b + c
    off = np.clip(np.where(bend < 0.0, 0.5 * (a - c) / np.where(bend < 0.0, bend, 1.0), 0.0), -1.0, 1.0)
    return b - 0.25 * (a - c) * off, (k + off) / last


def _column(value: ArrayLike) -> Array:
    return np.atleast_1d(np.asarray(value, dtype=np.float64))[:, np.newaxis]
