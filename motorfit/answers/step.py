"""How fast a motor speeds up and slows down between two throttles, with bands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from motorfit.answers.bands import Band, bands, check_interval
from motorfit.answers.cautions import Caution, envelope_cautions, running_cautions
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike
from motorfit.answers.limits import Limits, limit_cautions
from motorfit.answers.machine import REFERENCE_C, LimitChoice
from motorfit.answers.plain import number, numbers
from motorfit.answers.posterior import FitLike, FloatArray
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.question import (
    RPM_PER_RAD_S,
    Machine,
    check_throttle,
    machine_of,
    one_band,
    point_json,
    propeller_inertia,
)
from motorfit.answers.step_cautions import step_cautions
from motorfit.answers.supply import PackChoice
from motorfit.physics.controller import duty
from motorfit.physics.speed_change import SpeedChange, speed_change
from motorfit.physics.steady import operating_points

MAX_TIMES = 2000


@dataclass(frozen=True)
class StepDraws:
    """A step up and a step down, draw by draw, each (S,); NaN where a draw's speed does not change.

    ``start_speed_rpm`` and ``end_speed_rpm`` are the settled speeds at the lower and the higher throttle.
    ``rise_time_s`` and ``fall_time_s`` run from 10 to 90 % of the change of speed, the ``…_from_command_s``
    from the jump of the throttle to 90 %. ``peak_acceleration_rpm_per_s`` and ``peak_deceleration_rpm_per_s``
    are sizes; ``peak_motor_current_a`` is that of the jump upwards, as far as the limit lets it.
    ``speed_up_rpm`` and ``slow_down_rpm`` are (S, times).
    """

    start_speed_rpm: FloatArray
    end_speed_rpm: FloatArray
    rise_time_s: FloatArray
    fall_time_s: FloatArray
    rise_from_command_s: FloatArray
    fall_from_command_s: FloatArray
    peak_acceleration_rpm_per_s: FloatArray
    peak_deceleration_rpm_per_s: FloatArray
    peak_motor_current_a: FloatArray
    speed_up_rpm: FloatArray
    slow_down_rpm: FloatArray


POINTS = (
    "start_speed_rpm",
    "end_speed_rpm",
    "rise_time_s",
    "fall_time_s",
    "rise_from_command_s",
    "fall_from_command_s",
    "peak_acceleration_rpm_per_s",
    "peak_deceleration_rpm_per_s",
    "peak_motor_current_a",
)


@dataclass(frozen=True)
class StepAnswer:
    """``points``: a Band of one point for each of POINTS; ``curves``: speed over ``times_s``, both ways."""

    motor: str
    fit_id: str
    propeller: str
    voltage_v: float
    low_throttle: float
    high_throttle: float
    interval: float
    draws: int
    points: Mapping[str, Band]
    times_s: FloatArray
    curves: Mapping[str, Band]
    warnings: tuple[Caution, ...]
    supply: str = ""
    pack: PackChoice | None = None
    motors: int = 1
    settings: Mapping[str, Any] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return ``step --json``: plain types only, null where there is no answer."""
        document: dict[str, Any] = {
            "motor": self.motor,
            "fit": self.fit_id,
            "propeller": self.propeller,
            "voltage_v": number(self.voltage_v),
            "from": self.low_throttle,
            "to": self.high_throttle,
            "interval": self.interval,
        }
        if self.pack is not None:
            document |= {"motors": self.motors, "pack": self.pack.to_json()}
        document |= {name: point_json(found) for name, found in self.points.items()}
        if self.times_s.size:
            document["curves"] = {"time_s": numbers(self.times_s)}
            document["curves"] |= {name: curve.to_json() for name, curve in self.curves.items()}
        return document | {"warnings": [warning.to_json() for warning in self.warnings]}


def step(
    fit: FitLike,
    *,
    propeller: str | PropellerDraws,
    voltage_v: float | None = None,
    from_throttle: float,
    to_throttle: float,
    times_s: Sequence[float] = (),
    pack: PackChoice | None = None,
    motors: int = 1,
    draws: int | None = None,
    interval: float = 0.9,
    current_limit: LimitChoice = "bench",
    air: AirLike | None = None,
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
    limits: Limits | None = None,
) -> StepAnswer:
    """Say how fast a motor speeds up and slows down between two throttles, each from its settled speed.

    Both directions are answered whichever throttle comes first. The throttle jumps at once; what a controller
    does of its own to soften a jump is not known to the model.

    Parameters
    ----------
    from_throttle, to_throttle:
        The two throttles [1], 0 to 1, not equal.
    times_s:
        Times after the jump [s], rising, at which curves of speed are wanted; none by default.
    fit, propeller, voltage_v, pack, motors, draws, current_limit, air, winding_temperature_c, \
magnet_temperature_c:
        As in `machine_of`.
    interval:
        Probability inside the bands.
    limits:
        What must not be passed; passing it is warned of.

    Raises
    ------
    AnswerError
        A value outside what is allowed.
    """
    check_interval(interval)
    machine = machine_of(
        fit,
        propeller,
        voltage_v=voltage_v,
        pack=pack,
        motors=motors,
        draws=draws,
        current_limit=current_limit,
        air=air,
        winding_temperature_c=winding_temperature_c,
        magnet_temperature_c=magnet_temperature_c,
    )
    times = _times(times_s)
    low, high = sorted((check_throttle("from", from_throttle), check_throttle("to", to_throttle)))
    found, cautions = _found(machine, low, high, times, interval, limits or Limits())
    points = {name: one_band(getattr(found, name), interval) for name in POINTS}
    shapes = {"speed_up_rpm": found.speed_up_rpm.T, "slow_down_rpm": found.slow_down_rpm.T}
    return StepAnswer(
        motor=fit.motor,
        fit_id=fit.fit_id,
        propeller=machine.propeller.name,
        voltage_v=machine.supply.nominal_v,
        low_throttle=low,
        high_throttle=high,
        interval=float(interval),
        draws=machine.draws,
        points=points,
        times_s=times,
        curves=bands(shapes, interval) if times.size else {},
        warnings=(*machine.warnings, *cautions),
        supply=machine.supply.label,
        pack=pack,
        motors=motors,
    )


def step_draws(machine: Machine, low: float, high: float, times_s: FloatArray | None = None) -> StepDraws:
    """Return a step between two throttles [1] draw by draw; for comparing motors whose draws are paired."""
    return _step_draws(machine, low, high, np.zeros(0) if times_s is None else times_s)[0]


def _step_draws(machine: Machine, low: float, high: float, times: FloatArray) -> tuple[StepDraws, Any]:
    if low == high:
        raise AnswerError("to", high, f"a throttle other than {low:g}", "Give two throttles, 0.1 and 0.5.")
    volts = machine.supply.voltage
    ends = operating_points(np.array([low, high]), np.reshape(volts, (-1, 1)), machine.drive, machine.load)
    slow, fast = (np.broadcast_to(ends.speed[:, k], machine.draws) for k in (0, 1))
    common: dict[str, Any] = {
        "inertia": machine.own("rotor_inertia", np.nan) + propeller_inertia(machine),
        "braking_share": np.clip(machine.own("braking_share", 1.0), 0.0, 1.0),
        "times": times,
    }
    up = speed_change(high, volts, machine.drive, machine.load, start=slow, end=fast, **common)
    down = speed_change(low, volts, machine.drive, machine.load, start=fast, end=slow, **common)
    rises = fast > slow * (1.0 + 1e-6)  # held at the limit at both throttles: nothing changes

    def where(values: FloatArray, factor: float = 1.0) -> FloatArray:
        gone = ~rises if values.ndim == 1 else np.broadcast_to(~rises[:, np.newaxis], values.shape)
        masked: FloatArray = np.where(gone, np.nan, values * factor)
        return masked

    def curve(change: SpeedChange) -> FloatArray:
        return change.speed * RPM_PER_RAD_S

    return (
        StepDraws(
            start_speed_rpm=slow * RPM_PER_RAD_S,
            end_speed_rpm=fast * RPM_PER_RAD_S,
            rise_time_s=where(up.time),
            fall_time_s=where(down.time),
            rise_from_command_s=where(up.from_command),
            fall_from_command_s=where(down.from_command),
            peak_acceleration_rpm_per_s=where(up.peak, RPM_PER_RAD_S),
            peak_deceleration_rpm_per_s=where(down.peak, RPM_PER_RAD_S),
            peak_motor_current_a=_jump_current(machine, high, slow),
            speed_up_rpm=curve(up),
            slow_down_rpm=curve(down),
        ),
        ends,
    )


def _jump_current(machine: Machine, throttle: float, omega: FloatArray) -> FloatArray:
    """Motor current [A] just after a jump of throttle at a speed [rad/s], held by the limit."""
    drive = machine.drive
    d = np.asarray(
        duty(throttle, *(np.asarray(a) for a in (drive.duty_slope, drive.duty_curvature, drive.duty_cubic)))
    )
    r_s, idle = np.asarray(drive.source_resistance), np.asarray(drive.idle_current)
    total = np.asarray(drive.resistance) + np.asarray(drive.controller_resistance) + d * d * r_s
    free = (d * (np.asarray(machine.supply.voltage) - r_s * idle) - np.asarray(drive.k_e) * omega) / total
    held: FloatArray = np.minimum(free, np.asarray(drive.current_limit))
    return held


def _found(
    machine: Machine, low: float, high: float, times: FloatArray, interval: float, limits: Limits
) -> tuple[StepDraws, list[Caution]]:
    found, ends = _step_draws(machine, low, high, times)
    grid = np.array([low, high])
    settled = {
        "speed_rpm": ends.speed.T * RPM_PER_RAD_S,
        "current_a": ends.bus_current.T,
        "motor_current_a": np.stack([ends.motor_current[:, 0], found.peak_motor_current_a]),
    }
    if machine.supply.pack is not None:
        settled |= {
            "bus_voltage_v": ends.bus_voltage.T,
            "pack_current_a": machine.supply.motors * ends.bus_current.T,
        }
    curves = bands(settled, interval)
    fit, prop = machine.fit, machine.propeller
    cautions = envelope_cautions(fit, prop, machine.supply.nominal_v, curves, grid)
    cautions += running_cautions(
        curves, grid, ends.limited.mean(axis=0), 1.0 - ends.turning.mean(axis=0), prop, machine.air
    )
    cautions += limit_cautions(machine, curves, grid, "throttle", limits)
    return found, cautions + step_cautions(
        machine.fit, prop, found.rise_time_s, float(ends.turning[:, 0].mean()), low, high
    )


def _times(times_s: Sequence[float]) -> FloatArray:
    times = np.asarray(times_s, dtype=np.float64)
    if times.ndim != 1 or times.size > MAX_TIMES:
        raise AnswerError("times", times.shape, f"a list of up to {MAX_TIMES} times", "Give 0,0.05,0.1.")
    if not np.isfinite(times).all() or (times < 0.0).any() or (np.diff(times) <= 0.0).any():
        raise AnswerError("times", times_s, "seconds from 0, rising", "Sort them, such as 0,0.05,0.1.")
    return times
