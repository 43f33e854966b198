"""The figures of one motor, draw by draw: what `metrics` names, worked out from its draws."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike
from motorfit.answers.hover import thrust_point
from motorfit.answers.machine import REFERENCE_C, LimitChoice, drive_of
from motorfit.answers.metrics import Metric
from motorfit.answers.pairing import Subject
from motorfit.answers.posterior import FloatArray, count, parameter
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.question import GRAVITY, RPM_PER_RAD_S, Machine, machine_of
from motorfit.answers.step import step_draws
from motorfit.physics.drive import Drive
from motorfit.physics.steady import OperatingPoints, operating_points

# Efficiency is flat at its top: a parabola through three of these finds it to 1e-4 of itself.
_THROTTLES = np.concatenate([np.linspace(0.06, 0.3, 7), np.linspace(0.36, 1.0, 11)])


@dataclass(frozen=True)
class Conditions:
    """What is the same for all motors of a comparison.

    Attributes
    ----------
    propeller : id or geometry, None where none is stated
    voltage_v : of an ideal supply [V], None where none is stated
    air : of all motors; None: each campaign's own
    current_limit : of the motor current [A], "bench" or None
    from_throttle, to_throttle : of the step [1]
    hover_thrust_n : of one motor in hover [N]; None where it has not been settled yet
    motors : how many carry the aircraft, for the power of hover
    winding_temperature_c, magnet_temperature_c : [°C]
    """

    propeller: str | None = None
    voltage_v: float | None = None
    air: AirLike | None = None
    current_limit: LimitChoice = "bench"
    from_throttle: float = 0.1
    to_throttle: float = 0.5
    hover_thrust_n: float | None = None
    motors: int = 1
    winding_temperature_c: float = REFERENCE_C
    magnet_temperature_c: float = REFERENCE_C


def machine_for(subject: Subject, propeller: str | PropellerDraws, conditions: Conditions) -> Machine:
    """Return a motor with its propeller and supply under the conditions."""
    return machine_of(
        subject,
        propeller,
        voltage_v=conditions.voltage_v,
        current_limit=conditions.current_limit,
        air=conditions.air,
        winding_temperature_c=conditions.winding_temperature_c,
        magnet_temperature_c=conditions.magnet_temperature_c,
    )


def figures(
    subject: Subject, metrics: Iterable[Metric], conditions: Conditions, machine: Machine | None
) -> dict[str, FloatArray]:
    """Return the draws (S,) of each metric by name; NaN where a draw or the motor has none.

    Parameters
    ----------
    subject :
        A motor, its rows in common order.
    metrics :
        What is asked.
    conditions :
        Supply, air, step and hover.
    machine :
        From `machine_for`; None where no metric needs a propeller.
    """
    asked = tuple(metrics)
    work = _Work(subject, conditions, machine, sweeping=any(m.base == "peak_efficiency" for m in asked))
    return {metric.name: work.values(metric) for metric in asked}


class _Work:
    """Figures of one subject; what several metrics share is computed once."""

    def __init__(
        self, subject: Subject, conditions: Conditions, machine: Machine | None, *, sweeping: bool
    ) -> None:
        self.subject, self.conditions, self._machine, self._sweeping = subject, conditions, machine, sweeping
        self.size = count(subject)
        self._full: OperatingPoints | None = None
        self._sweep: OperatingPoints | None = None
        self._times: tuple[FloatArray, FloatArray] | None = None

    @property
    def machine(self) -> Machine:
        if self._machine is None:
            raise AnswerError("propeller", None, "a propeller and a voltage", "State both.")
        return self._machine

    def values(self, metric: Metric) -> FloatArray:
        found = self._whole(metric)
        if metric.per_gram:
            mass = mass_g(self.subject)
            found = np.full(self.size, np.nan) if mass is None else found / mass
        return found

    def _whole(self, metric: Metric) -> FloatArray:
        if metric.axis is not None:
            return self._curve_point(metric)
        if metric.base == "max_thrust_n":
            return self.full.thrust[:, -1]
        if metric.base == "max_current_a":
            return self.full.bus_current[:, -1]
        if metric.base == "peak_efficiency":
            return _peak(_THROTTLES, _efficiency(self.sweep))
        if metric.base == "peak_torque_nm":
            return self._peak_torque()
        if metric.base in ("rise_time_s", "fall_time_s"):
            return self.times[0 if metric.base == "rise_time_s" else 1]
        if metric.base == "hover_power_w":
            thrust = self.conditions.hover_thrust_n
            if thrust is None:
                raise AnswerError("hover_thrust_n", None, "a thrust above 0 N", "State the aircraft's mass.")
            if not thrust > 0.0:  # the weakest motor does not turn at this voltage
                return np.full(self.size, np.nan)
            return self.conditions.motors * thrust_point(self.machine, thrust).electrical_power_w
        if metric.base == "kv_over_label":
            label = label_kv(self.subject)
            return np.full(self.size, np.nan) if label is None else self._parameter("kv", None) / label
        return self._parameter(metric.base, metric.propeller)

    def _parameter(self, name: str, propeller: str | None) -> FloatArray:
        array = self.subject.draws.get(name)
        if array is not None and array.ndim == 3:
            own = self.conditions.propeller if propeller is None else propeller
            if own not in self.subject.propellers:
                return self._of_stated(name, own)
            values = parameter(self.subject, name, own)
        else:
            values = parameter(self.subject, name)
        return np.full(self.size, np.nan) if values is None else values

    def _of_stated(self, name: str, propeller: str | None) -> FloatArray:
        """A coefficient of a stated propeller that is not of this campaign; NaN where it is not known."""
        kinds = {"thrust_coefficient": "thrust", "torque_coefficient": "torque"}
        if name not in kinds or propeller != self.conditions.propeller or self._machine is None:
            return np.full(self.size, np.nan)
        return np.asarray(getattr(self._machine.propeller, kinds[name]), dtype=np.float64)

    @property
    def full(self) -> OperatingPoints:
        if self._sweeping:  # it ends at full throttle
            return self.sweep
        if self._full is None:
            self._full = _points(self.machine, np.ones(1))
        return self._full

    @property
    def sweep(self) -> OperatingPoints:
        if self._sweep is None:
            self._sweep = _points(self.machine, _THROTTLES)
        return self._sweep

    @property
    def times(self) -> tuple[FloatArray, FloatArray]:
        if self._times is None:
            low, high = sorted((self.conditions.from_throttle, self.conditions.to_throttle))
            found = step_draws(self.machine, low, high)
            self._times = found.rise_time_s, found.fall_time_s
        return self._times

    def _peak_torque(self) -> FloatArray:
        drive = drive_of(
            self.subject,
            current_limit=self.conditions.current_limit,
            winding_temperature_c=self.conditions.winding_temperature_c,
            magnet_temperature_c=self.conditions.magnet_temperature_c,
        )
        return peak_torque(drive, self.conditions.voltage_v or math.nan)

    def _curve_point(self, metric: Metric) -> FloatArray:
        at = float(metric.at or 0.0)
        if metric.axis == "throttle":
            return _curve(_points(self.machine, np.array([at])), metric.base)[:, 0]
        if metric.axis == "thrust_n":
            return _at_thrust(self.machine, metric.base, at)
        throttle = np.linspace(0.02, 1.0, 50)
        points = _points(self.machine, throttle)
        return _along(points.electrical_power, _curve(points, metric.base), at)


def _points(machine: Machine, throttle: FloatArray) -> OperatingPoints:
    return operating_points(throttle, machine.supply.nominal_v, machine.drive, machine.load)


def _efficiency(points: OperatingPoints) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(
            points.electrical_power > 0.0, points.mechanical_power / points.electrical_power, np.nan
        )


def _curve(points: OperatingPoints, name: str) -> FloatArray:
    if name == "motor_efficiency":
        return _efficiency(points)
    if name == "thrust_per_watt_g":
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(
                points.electrical_power > 0.0,
                points.thrust * (1000.0 / GRAVITY) / points.electrical_power,
                np.nan,
            )
    plain: Mapping[str, FloatArray] = {
        "speed_rpm": points.speed * RPM_PER_RAD_S,
        "thrust_n": points.thrust,
        "torque_nm": points.torque,
        "current_a": points.bus_current,
        "motor_current_a": points.motor_current,
        "electrical_power_w": points.electrical_power,
        "mechanical_power_w": points.mechanical_power,
    }
    return plain[name]


def _at_thrust(machine: Machine, name: str, thrust_n: float) -> FloatArray:
    """A curve where a motor gives a thrust [N], solved backwards; NaN where a draw cannot."""
    point = thrust_point(machine, thrust_n)
    power = point.electrical_power_w
    shaft = point.torque_nm * point.speed_rpm / RPM_PER_RAD_S
    found: Mapping[str, FloatArray] = {
        "speed_rpm": point.speed_rpm,
        "torque_nm": point.torque_nm,
        "current_a": point.current_a,
        "motor_current_a": point.motor_current_a,
        "electrical_power_w": power,
        "mechanical_power_w": shaft,
        "motor_efficiency": shaft / power,
        "thrust_per_watt_g": thrust_n * (1000.0 / GRAVITY) / power,
    }
    return found[name]


def _along(axis: FloatArray, values: FloatArray, at: float) -> FloatArray:
    """Values (S, G) where a rising axis (S, G) passes a point, interpolated; NaN where it never does."""
    above = axis >= at
    index = np.argmax(above, axis=1)
    rows = np.arange(len(axis))
    reached = above[rows, index] & (index > 0)
    right = np.maximum(index, 1)
    x0, x1 = axis[rows, right - 1], axis[rows, right]
    y0, y1 = values[rows, right - 1], values[rows, right]
    with np.errstate(divide="ignore", invalid="ignore"):
        found = y0 + (at - x0) / (x1 - x0) * (y1 - y0)
    return np.where(reached, found, np.nan)


def _peak(grid: FloatArray, values: FloatArray) -> FloatArray:
    """Largest value along a grid, (S, G) to (S,), refined by the parabola through it and its neighbours."""
    clean = np.where(np.isfinite(values), values, -math.inf)
    best = np.clip(np.argmax(clean, axis=1), 1, len(grid) - 2)
    rows = np.arange(len(clean))
    x0, x1, x2 = grid[best - 1], grid[best], grid[best + 1]
    y0, y1, y2 = clean[rows, best - 1], clean[rows, best], clean[rows, best + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        left, right = (y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1)
        bend = (right - left) / (x2 - x0)
        x = 0.5 * (x0 + x1) - 0.5 * left / bend
        top = y1 + (x - x1) * (left + bend * (x - x0))
    inside = (bend < 0.0) & (x > x0) & (x < x2) & np.isfinite(top)
    found = np.where(inside, top, np.max(clean, axis=1))
    return np.where(np.isfinite(found), found, np.nan)


def peak_torque(drive: Drive, voltage_v: float) -> FloatArray:
    """Largest torque [N m] that a motor gives at a voltage [V], at any speed, (S,).

    The current at rest is V/(R + R_c), or the limit. More current gives more torque up to
    i_0 + √(i_0² + I_s²), where dQ/dI = 0 for Q = K_t (I - i_0)/(1 + (I/I_s)²); beyond it the peak lies at the
    speed where the back-EMF leaves that current.
    """
    i_0 = np.asarray(drive.drag_static, dtype=np.float64)
    i_s = np.asarray(drive.saturation_current, dtype=np.float64)
    total = np.asarray(drive.resistance) + np.asarray(drive.controller_resistance)
    at_rest = voltage_v / total
    turning = np.minimum(at_rest, i_0 + np.sqrt(i_0 * i_0 + i_s * i_s))
    current = np.minimum(turning, np.asarray(drive.current_limit))
    omega = np.where(current == turning, (voltage_v - total * turning) / np.asarray(drive.k_e), 0.0)
    drag = i_0 + omega * (np.asarray(drive.drag_slope) + omega * np.asarray(drive.drag_windage))
    ratio = current / i_s
    found: FloatArray = np.asarray(drive.k_t) / (1.0 + ratio * ratio) * np.maximum(current - drag, 0.0)
    return found


def mass_g(subject: Subject) -> float | None:
    """Return the motor's mass [g], None where its campaign does not state it."""
    return _fact(subject, "mass_g")


def label_kv(subject: Subject) -> float | None:
    """Return what the maker printed [rpm/V], None where the campaign does not say."""
    return _fact(subject, "label_kv")


def _fact(subject: Subject, name: str) -> float | None:
    facts = subject.constant.get("motor")
    value = facts.get(name) if isinstance(facts, Mapping) else None
    return None if value is None else float(value)
