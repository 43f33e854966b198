"""Hover: throttle, current, flight time and heat of an aircraft of like motors on one pack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.bands import Band, check_interval
from motorfit.answers.cautions import Caution
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike
from motorfit.answers.hover_cautions import hover_cautions
from motorfit.answers.limits import WINDING_LIMIT_C, Limits
from motorfit.answers.machine import REFERENCE_C, LimitChoice
from motorfit.answers.posterior import FitLike, FloatArray
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.question import (
    GRAVITY,
    RPM_PER_RAD_S,
    Machine,
    machine_of,
    one_band,
    point_json,
)
from motorfit.answers.supply import PackChoice, check_motors
from motorfit.answers.warmth import Warmth, warmth
from motorfit.physics.demand import Demand, demand
from motorfit.physics.endurance import charge_nodes, discharge
from motorfit.physics.propeller import speed_for_thrust
from motorfit.physics.steady import operating_points


@dataclass(frozen=True)
class ThrustPoint:
    """What one motor needs for a thrust from its supply, draw by draw, each (S,); NaN where it cannot.

    ``speed_rpm``, ``torque_nm``, ``throttle``, ``motor_current_a``, ``current_a`` (bus), ``bus_voltage_v``,
    ``electrical_power_w`` (bus).
    """

    speed_rpm: FloatArray
    torque_nm: FloatArray
    throttle: FloatArray
    motor_current_a: FloatArray
    current_a: FloatArray
    bus_voltage_v: FloatArray
    electrical_power_w: FloatArray


@dataclass(frozen=True)
class HoverAnswer:
    """``points``: a Band of one point by name (see docs/commands.md); heat's are absent where not learned."""

    motor: str
    fit_id: str
    propeller: str
    motors: int
    mass_g: float
    pack: PackChoice
    reserve: float
    interval: float
    draws: int
    winding_limit_c: float
    points: Mapping[str, Band]
    warnings: tuple[Caution, ...]

    def to_json(self) -> dict[str, Any]:
        """Return ``hover --json``: plain types only, null where there is no answer."""
        document: dict[str, Any] = {
            "motor": self.motor,
            "fit": self.fit_id,
            "propeller": self.propeller,
            "motors": self.motors,
            "mass_g": self.mass_g,
            "pack": self.pack.to_json(),
            "reserve": self.reserve,
            "interval": self.interval,
        }
        document |= {name: point_json(found) for name, found in self.points.items()}
        document |= {name: None for name in HEAT_POINTS if name not in self.points}
        document["winding_limit_c"] = self.winding_limit_c
        return document | {"warnings": [warning.to_json() for warning in self.warnings]}


HEAT_POINTS = ("steady_winding_temperature_c", "continuous_motor_current_a")


def hover(
    fit: FitLike,
    *,
    propeller: str | PropellerDraws,
    pack: PackChoice,
    mass_g: float,
    motors: int = 4,
    reserve: float = 0.2,
    draws: int | None = None,
    interval: float = 0.9,
    current_limit: LimitChoice = "bench",
    air: AirLike | None = None,
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
    winding_limit_c: float = WINDING_LIMIT_C,
    limits: Limits | None = None,
) -> HoverAnswer:
    """Say what hovering takes, and for how long a pack gives it.

    Each motor carries its share of the weight with the propeller's static thrust, as on the stand: no
    airframe in the wash, no wind, no climb, nothing else fed from the pack.

    Parameters
    ----------
    pack:
        The pack all motors share; the flight starts at its charge.
    mass_g:
        All-up mass [g], pack and all.
    motors:
        How many like motors carry it.
    reserve:
        Charge [1] at which the flight ends.
    winding_limit_c:
        Winding temperature [°C] for the continuous current.
    limits:
        What must not be passed; passing it is warned of.
    fit, propeller, draws, current_limit, air, winding_temperature_c, magnet_temperature_c:
        As in `machine_of`.
    interval:
        Probability inside the bands.

    Raises
    ------
    AnswerError
        A value outside what is allowed.
    """
    check_interval(interval)
    check_motors(motors)
    for name, value, low, high, remedy in (
        ("mass_g", mass_g, 1.0, 1e5, "Give the all-up mass in grams."),
        ("reserve", reserve, 0.0, 0.99, "Give the share of charge kept back, 0.2 for a fifth."),
        ("winding_limit_c", winding_limit_c, 40.0, 250.0, "Give degrees Celsius."),
    ):
        if not low <= value <= high:
            raise AnswerError(name, value, f"{low:g} to {high:g}", remedy)
    if not reserve < pack.charge:
        raise AnswerError(
            "reserve", reserve, f"below the charge at the start, {pack.charge:g}", "Charge the pack."
        )
    machine = machine_of(
        fit,
        propeller,
        pack=pack,
        motors=motors,
        draws=draws,
        current_limit=current_limit,
        air=air,
        winding_temperature_c=winding_temperature_c,
        magnet_temperature_c=magnet_temperature_c,
    )
    if winding_limit_c <= machine.air.temperature_c:
        raise AnswerError(
            "winding_limit_c",
            winding_limit_c,
            f"above the air's {machine.air.temperature_c:g} degC",
            "Give what the winding may reach.",
        )
    thrust = mass_g / 1000.0 * GRAVITY / motors
    values, warm = _values(machine, thrust, reserve, winding_limit_c)
    points = {name: one_band(array, interval) for name, array in values.items()}
    return HoverAnswer(
        motor=fit.motor,
        fit_id=fit.fit_id,
        propeller=machine.propeller.name,
        motors=motors,
        mass_g=float(mass_g),
        pack=pack,
        reserve=float(reserve),
        interval=float(interval),
        draws=machine.draws,
        winding_limit_c=float(winding_limit_c),
        points=points,
        warnings=(
            *machine.warnings,
            *hover_cautions(
                machine,
                values,
                points,
                mass_g,
                reserve,
                winding_limit_c,
                warm is not None,
                limits or Limits(),
            ),
        ),
    )


def thrust_point(machine: Machine, thrust_n: float) -> ThrustPoint:
    """Return what one motor needs for a thrust [N] from the machine's supply, draw by draw."""
    omega, torque = _turning(machine, thrust_n)
    volts = np.reshape(np.asarray(machine.supply.voltage, dtype=np.float64), (-1, 1))
    d = demand(omega[:, np.newaxis], torque[:, np.newaxis], volts, machine.drive)
    return _point(d, omega, torque, 0)


def _turning(machine: Machine, thrust_n: float) -> tuple[FloatArray, FloatArray]:
    """Speed [rad/s] and torque [N m] at a thrust [N], (S,)."""
    load = machine.load
    omega = np.asarray(
        speed_for_thrust(
            thrust_n,
            np.asarray(load.thrust_coefficient),
            np.asarray(load.diameter),
            np.asarray(load.density),
            np.asarray(load.thrust_exponent),
            np.asarray(load.reference_rev_per_s),
        )
    )
    growth = (omega / load.reference_speed()) ** np.asarray(load.torque_exponent)
    torque = load.torque_factor() * omega * omega * growth
    wide = np.broadcast_arrays(omega, torque, np.empty(machine.draws))
    return np.asarray(wide[0]), np.asarray(wide[1])


def _point(d: Demand, omega: FloatArray, torque: FloatArray, k: int) -> ThrustPoint:
    can = d.feasible[:, k]

    def where(values: FloatArray) -> FloatArray:
        return np.where(can, values, np.nan)

    return ThrustPoint(
        speed_rpm=where(omega * RPM_PER_RAD_S),
        torque_nm=where(torque),
        throttle=where(d.throttle[:, k]),
        motor_current_a=where(d.motor_current[:, k]),
        current_a=where(d.bus_current[:, k]),
        bus_voltage_v=where(d.bus_voltage[:, k]),
        electrical_power_w=where(d.electrical_power[:, k]),
    )


def _values(
    machine: Machine, thrust_n: float, reserve: float, limit_c: float
) -> tuple[dict[str, FloatArray], Warmth | None]:
    supply, n = machine.supply, machine.supply.motors
    pack = supply.pack
    if pack is None:
        raise AnswerError("pack", None, "a pack", "Hovering on a voltage that never falls has no end.")
    omega, torque = _turning(machine, thrust_n)
    charges = charge_nodes(pack.choice.charge, reserve)
    volts = pack.open_circuit_voltage(charges)
    flight = discharge(omega, torque, machine.drive, charges, volts, pack.capacity, n)
    start, end = (_point(flight.demand, omega, torque, k) for k in (0, -1))
    full = operating_points(np.ones(1), volts[:, :1], machine.drive, machine.load)
    values = {
        "hover_throttle": start.throttle,
        "hover_throttle_end": end.throttle,
        "speed_rpm": start.speed_rpm,
        "motor_current_a": start.motor_current_a,
        "current_per_motor_a": start.current_a,
        "current_a": n * start.current_a,
        "current_end_a": n * end.current_a,
        "hover_power_w": n * start.electrical_power_w,
        "pack_voltage_v": start.bus_voltage_v,
        "pack_voltage_end_v": end.bus_voltage_v,
        "flight_time_s": np.where(flight.time > 0.0, flight.time, np.nan),
        "end_charge": flight.end_charge,
        "thrust_to_weight": full.thrust[:, 0] / thrust_n,
    }
    warm = warmth(machine, omega, torque, limit_c)
    if warm is not None:
        # what cannot be held does not warm
        values["steady_winding_temperature_c"] = np.where(np.isnan(start.throttle), np.nan, warm.winding_c)
        values["continuous_motor_current_a"] = warm.continuous_current_a
    return values, warm
