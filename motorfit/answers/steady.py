"""Settled states along an axis, draw by draw, under the names of the curves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from motorfit.answers.axis import Axis, physics_axis
from motorfit.answers.posterior import FloatArray
from motorfit.answers.question import GRAVITY, RPM_PER_RAD_S, Machine
from motorfit.physics.axes import speed_at, torque_at
from motorfit.physics.demand import demand
from motorfit.physics.steady import operating_points


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
