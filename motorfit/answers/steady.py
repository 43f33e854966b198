"""Settled states along an axis, draw by draw, under the names of the curves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.axis import Axis, physics_axis
from motorfit.answers.bands import Band, RisingBands, bands
from motorfit.answers.posterior import FloatArray
from motorfit.answers.question import GRAVITY, RPM_PER_RAD_S, Machine
from motorfit.physics.axes import speed_at, torque_at
from motorfit.physics.demand import demand
from motorfit.physics.steady import in_parts, operating_points


@dataclass(frozen=True)
class SteadyDraws:
    """Curves by name, each (S, G), NaN where a draw does not reach the point; shares of draws (G,).

    ``speed_rpm`` and ``torque_nm`` are curves too, and stand here whatever the axis.

    ``limited``: the current limit holds; ``stopped``: the shaft stands still; ``beyond``: not reached.
    """

    values: Mapping[str, FloatArray]
    speed_rpm: FloatArray
    torque_nm: FloatArray
    limited: FloatArray
    stopped: FloatArray
    beyond: FloatArray


@dataclass(frozen=True)
class SteadyBands:
    """Bands of the curves (G,) by name, and what else must be known of the draws.

    ``speed_rpm`` and ``torque_nm`` (F, G) are those of a few draws; the rest as in `SteadyDraws`.
    """

    curves: Mapping[str, Band]
    speed_rpm: FloatArray
    torque_nm: FloatArray
    limited: FloatArray
    stopped: FloatArray
    beyond: FloatArray


_AT_ONCE = 8
"""Points of a grid that are worked on together: few, so that their draws stay in the processor's caches."""

_CURVES = {
    "speed_rpm": ("speed", RPM_PER_RAD_S),
    "thrust_n": ("thrust", 1.0),
    "torque_nm": ("torque", 1.0),
    "current_a": ("bus_current", 1.0),
    "motor_current_a": ("motor_current", 1.0),
    "electrical_power_w": ("electrical_power", 1.0),
    "mechanical_power_w": ("mechanical_power", 1.0),
    "motor_efficiency": ("efficiency", 1.0),
    "thrust_per_watt_g": ("thrust_per_watt", 1000.0 / GRAVITY),
}
"""What is solved for by curve, and its unit in the curve's."""


def steady_bands(machine: Machine, axis: Axis, interval: float, few: NDArray[np.intp]) -> SteadyBands:
    """Bands of the settled states of one motor at the axis's points; ``few`` picks draws to be kept."""
    if axis.name != "throttle":
        d = steady_draws(machine, axis)
        curves = bands({name: array.T for name, array in d.values.items()}, interval)
        return SteadyBands(curves, d.speed_rpm[few], d.torque_nm[few], d.limited, d.stopped, d.beyond)
    x, pack = axis.points, machine.supply.pack
    solved = dict(_CURVES)
    held = isinstance(machine.supply.voltage, float) and not np.any(machine.supply.resistance)
    if held:  # then power is current times one number, and so are its bands
        del solved["electrical_power_w"]
    if pack is not None:
        solved["bus_voltage_v"] = ("bus_voltage", 1.0)
    rising = RisingBands(len(solved), x.size, interval)
    kept, limited, stopped = np.empty((2, few.size, x.size)), np.empty(x.size), np.empty(x.size)
    supply = np.broadcast_to(
        np.reshape(machine.supply.voltage, (-1, 1)), (np.size(machine.supply.voltage), x.size)
    )
    names = [name for name, _ in solved.values()]
    for part in in_parts(x, supply, machine.columns, names, _AT_ONCE):
        rising.add(part.values)
        here = slice(part.first, part.first + len(part.limited))
        for row, name in enumerate(("speed_rpm", "torque_nm")):
            kept[row, :, here] = part.values[list(solved).index(name)][:, few].T
        limited[here] = [np.count_nonzero(row) / machine.draws for row in part.limited]
        stopped[here] = [1.0 - np.count_nonzero(row) / machine.draws for row in part.turning]
    curves = {name: rising.band(row, solved[name][1]) for row, name in enumerate(solved)}
    current = list(solved).index("current_a")
    if held:
        curves["electrical_power_w"] = rising.band(current, float(machine.supply.nominal_v))
    curves = {name: curves[name] for name in (*_CURVES, *curves)}
    if pack is not None:
        curves["pack_current_a"] = rising.band(current, float(machine.supply.motors))
    return SteadyBands(curves, kept[0] * RPM_PER_RAD_S, kept[1], limited, stopped, np.zeros(x.size))


def steady_draws(machine: Machine, axis: Axis) -> SteadyDraws:
    """Settled states of one motor at the axis's points; ``pack_…`` curves are of all motors on the pack."""
    return _over_throttle(machine, axis) if axis.name == "throttle" else _over(machine, axis)


def _over_throttle(machine: Machine, axis: Axis) -> SteadyDraws:
    volts = machine.supply.voltage
    supply = volts if isinstance(volts, float) else volts[:, np.newaxis]
    o = operating_points(axis.points, supply, machine.drive, machine.load)
    values = {
        "speed_rpm": o.speed * RPM_PER_RAD_S,
        "thrust_n": o.thrust,
        "torque_nm": o.torque,
        "current_a": o.bus_current,
        "motor_current_a": o.motor_current,
        "electrical_power_w": o.electrical_power,
        "mechanical_power_w": o.mechanical_power,
    }
    stopped = 1.0 - o.turning.mean(axis=0)
    made = _more(values, machine, o.bus_voltage)
    return SteadyDraws(
        made,
        made["speed_rpm"],
        made["torque_nm"],
        o.limited.mean(axis=0),
        stopped,
        np.zeros(axis.points.size),
    )


def _over(machine: Machine, axis: Axis) -> SteadyDraws:
    volts = np.reshape(np.asarray(machine.supply.voltage, dtype=np.float64), (-1, 1))
    omega = speed_at(physics_axis(axis), axis.points * axis.factor, volts[:, 0], machine.drive, machine.load)
    met = np.isfinite(omega)
    omega = np.where(met, omega, 0.0)
    thrust, torque = torque_at(omega, machine.load)
    d = demand(omega, torque, volts, machine.drive)
    least = 1.0 - np.atleast_1d(np.asarray(machine.drive.duty_slope))[:, np.newaxis]
    reached = met & d.feasible & (d.duty >= least)
    values = {
        "throttle": d.throttle,
        "speed_rpm": omega * RPM_PER_RAD_S,
        "thrust_n": thrust,
        "torque_nm": torque,
        "current_a": d.bus_current,
        "motor_current_a": d.motor_current,
        "electrical_power_w": d.electrical_power,
        "mechanical_power_w": torque * omega,
    }
    values = {name: np.where(reached, array, np.nan) for name, array in values.items()}
    nothing = np.zeros(axis.points.size)
    made = _more(values, machine, np.where(reached, d.bus_voltage, np.nan))
    return SteadyDraws(
        {name: array for name, array in made.items() if name != axis.curve},
        made["speed_rpm"],
        made["torque_nm"],
        nothing,
        nothing,
        1.0 - reached.mean(axis=0),
    )


def _more(values: dict[str, FloatArray], machine: Machine, bus_voltage: FloatArray) -> dict[str, FloatArray]:
    """Add what follows from the others, and the pack's part where there is one."""
    electrical = values["electrical_power_w"]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_watt = 1.0 / electrical
        per_watt[~(electrical > 0.0)] = np.nan
        values["motor_efficiency"] = values["mechanical_power_w"] * per_watt
        values["thrust_per_watt_g"] = values["thrust_n"] * per_watt
        values["thrust_per_watt_g"] *= 1000.0 / GRAVITY
    if machine.supply.pack is not None:
        values["bus_voltage_v"] = bus_voltage
        values["pack_current_a"] = machine.supply.motors * values["current_a"]
    return values
