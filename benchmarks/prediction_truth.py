"""What a simulated bench would really do, worked out from the simulator's own equations of motion.

Nothing of `motorfit.physics` is asked but constants and the air: operating points are roots of the rate of
speed that the simulator integrates, steps are its integration, temperatures are where its heat flows balance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from motorfit.physics.motor import COPPER_COEFFICIENT
from motorfit.physics.pack import cell_open_circuit_voltage
from motorfit.synthetic import integrate as bench
from motorfit.synthetic.truth import TruePropeller, Truth

Array = npt.NDArray[np.float64]

RPM = 60.0 / (2.0 * math.pi)
GRAVITY = 9.80665
TEST_C = 25.0
_STEP_S = 2e-4
_SETTLED_S = 6.0
_FINE = 1201


@dataclass(frozen=True)
class TruePack:
    """A pack as it really is: cells, charge [A s], resistance with leads [ohm], shift of the whole [V]."""

    cells: int
    charge_as: float
    resistance_ohm: float
    shift_v: float

    def at_rest(self, charge: float) -> float:
        """Voltage without current [V] at a state of charge [1]."""
        return self.cells * float(cell_open_circuit_voltage(charge)) + self.shift_v


@dataclass(frozen=True)
class TrueMachine:
    """One motor of a bench with a propeller (None: a bare shaft) on a source of so many ohms."""

    truth: Truth
    motor: str
    propeller: TruePropeller | None
    source_ohm: float = 0.0
    heated: bool = False

    def vector(self) -> Array:
        """Return what the simulator integrates; at 25 °C throughout unless ``heated``."""
        motor = dict(self.truth.motors[self.motor].parameters)
        if not self.heated:
            for name in ("winding_heat_capacity", "body_heat_capacity"):
                motor.pop(name, None)
        screw = self.propeller
        return bench.run_parameters(
            motor,
            self.truth.stand,
            propeller=None if screw is None else screw.parameters,
            diameter=0.0 if screw is None else 0.0254 * screw.diameter_in,
            density=self.truth.density,
            load_inertia=0.0 if screw is None else screw.parameters["prop_inertia"],
            source_resistance=self.source_ohm,
            current_limit=self.truth.stand["current_limit"],
            air_c=self.truth.air.temperature_c if self.heated else TEST_C,
        )


def _load(p: Array, w: float) -> tuple[float, float]:
    """Thrust [N] and torque [N m] of the propeller at a speed [rad/s]."""
    ratio = max(w, 1e-3) / p[bench.W_REF]
    return (
        float(p[bench.THRUST] * w * w * ratio ** p[bench.A_T]),
        float(p[bench.TORQUE] * w * w * ratio ** p[bench.A_Q]),
    )


def _settled(p: Array, throttle: float, volts: float) -> float:
    """Speed [rad/s] at which the simulator's rate of speed is nothing; 0 where it never starts."""

    def rate(w: float) -> float:
        return float(bench._slopes(p, throttle, volts, w, TEST_C, TEST_C)[0])

    low, high = 1.0, 2.0 * volts / p[bench.KE]
    return 0.0 if rate(low) <= 0.0 else float(brentq(rate, low, high, xtol=1e-9, rtol=1e-13))


def steady(machine: TrueMachine, throttle: float, volts: float) -> dict[str, float]:
    """Curves of ``predict --json`` at one throttle [1] and voltage [V]."""
    p = machine.vector()
    w = _settled(p, throttle, volts)
    current, duty, at_bus = bench._electrical(p, throttle, volts, w, TEST_C, TEST_C)
    thrust, torque = _load(p, w)
    bus = duty * current + float(p[bench.IQ])
    return {
        "speed_rpm": w * RPM,
        "thrust_n": thrust,
        "torque_nm": torque,
        "current_a": bus,
        "motor_current_a": current,
        "electrical_power_w": at_bus * bus,
        "motor_efficiency": torque * w / (at_bus * bus),
        "thrust_per_watt_g": 1000.0 * thrust / GRAVITY / (at_bus * bus),
    }


def step(machine: TrueMachine, low: float, high: float, volts: float) -> dict[str, float]:
    """Points of ``step --json`` by integrating a settled start, a jump up, and a jump down."""
    p, rest = machine.vector(), round(_SETTLED_S / _STEP_S)
    throttle = np.repeat([low, high, low], rest)
    out = np.empty((bench.N_SIGNALS, throttle.size))
    bench.integrate(p, throttle, volts, _STEP_S, 1, out)
    speed = out[bench.SPEED] * RPM
    # between samples the rate has changed by more than a band is wide: it is asked at the samples themselves
    known = zip(throttle, out[bench.SPEED], strict=True)
    rates = [bench._slopes(p, x, volts, w, TEST_C, TEST_C)[0] for x, w in known]
    slow, fast = (_settled(p, x, volts) * RPM for x in (low, high))
    way = fast - slow
    found = {"start_speed_rpm": slow, "end_speed_rpm": fast}
    for name, rate, first, start, sign in (
        ("rise", "acceleration", rest, slow, 1.0),
        ("fall", "deceleration", 2 * rest, fast, -1.0),
    ):
        share = sign * (speed[first : first + rest] - start) / way
        ten, ninety = (_first_above(share, mark) for mark in (0.1, 0.9))
        found[f"{name}_time_s"] = ninety - ten
        found[f"{name}_from_command_s"] = ninety
        found[f"peak_{rate}_rpm_per_s"] = RPM * max(sign * r for r in rates[first : first + rest])
    found["peak_motor_current_a"] = float(out[bench.I_MOTOR, rest])
    return found


def _first_above(share: Array, mark: float) -> float:
    """Time [s] at which a rising way passes a mark, between samples by a straight line."""
    k = int(np.argmax(share >= mark))
    return _STEP_S * float(k - (share[k] - mark) / (share[k] - share[k - 1]))


def shaft(machine: TrueMachine, volts: float, throttle: float = 1.0) -> dict[str, float]:
    """Points of ``torque --json``, from the simulator's current at speeds from stall to no load."""
    p = machine.vector()
    top = _settled(p, throttle, volts)
    grid = np.linspace(0.0, top, _FINE)
    torque, shaft_w, bus_w = np.empty(_FINE), np.empty(_FINE), np.empty(_FINE)
    currents = np.empty(_FINE)
    for k, w in enumerate(grid):
        current, duty, at_bus = bench._electrical(p, throttle, volts, w, TEST_C, TEST_C)
        drag = p[bench.I0] + w * (p[bench.I1] + w * p[bench.I2])
        torque[k] = p[bench.KT] / (1.0 + current * current * p[bench.SAT]) * (current - drag)
        shaft_w[k] = torque[k] * w
        bus_w[k] = at_bus * (duty * current + p[bench.IQ])
        currents[k] = current
    best = shaft_w / bus_w
    return {
        "no_load_speed_rpm": top * RPM,
        "no_load_current_a": bus_w[-1] / volts,
        "stall_torque_nm": float(torque[0]),
        "stall_motor_current_a": float(currents[0]),
        "peak_torque_nm": float(torque.max()),
        "torque_slope_nm_per_rpm": float((torque[-1] - torque[-2]) / (grid[-1] - grid[-2]) / RPM),
        "peak_power_w": float(shaft_w.max()),
        "peak_efficiency": float(best.max()),
    }


@dataclass(frozen=True)
class _Point:
    """A thrust held: speed [rad/s], torque [N m], currents [A], duty [1], voltage at the bus [V]."""

    w: float
    torque: float
    current: float
    duty: float
    bus: float
    at_bus: float


def _current_for(p: Array, torque: float, w: float, flux: float = 1.0) -> float:
    """Motor current [A] for a torque at the shaft, short of deep saturation; NaN where there is none."""
    drag = p[bench.I0] + w * (p[bench.I1] + w * p[bench.I2])
    most = 1.0 / math.sqrt(p[bench.SAT]) if p[bench.SAT] > 0.0 else 1e4
    most = min(drag + math.sqrt(drag * drag + most * most), 1e4)

    def short(current: float) -> float:
        k_t = flux * p[bench.KT] / (1.0 + current * current * p[bench.SAT])
        return float(k_t * (current - drag) - torque)

    return math.nan if short(most) < 0.0 else float(brentq(short, drag, most, xtol=1e-12))


def _hold(p: Array, thrust: float, rest_v: float) -> _Point | None:
    """Return what holds a thrust [N] from a source of open-circuit voltage [V]; None where nothing does."""
    w = float(brentq(lambda w: _load(p, w)[0] - thrust, 1.0, 2e4, xtol=1e-10))
    torque = _load(p, w)[1]
    current = _current_for(p, torque, w)
    if not current <= p[bench.LIMIT]:
        return None
    need = p[bench.KE] * w + (p[bench.R] + p[bench.RC]) * current

    def short(duty: float) -> float:
        return float(duty * (rest_v - p[bench.RS] * (duty * current + p[bench.IQ])) - need)

    if short(1.0) < 0.0:
        return None
    duty = float(brentq(short, 0.0, 1.0, xtol=1e-13))
    bus = duty * current + float(p[bench.IQ])
    return _Point(w, torque, current, duty, bus, rest_v - float(p[bench.RS]) * bus)


def hover(
    machine: TrueMachine, pack: TruePack, *, mass_g: float, motors: int, charge: float, reserve: float
) -> dict[str, float]:
    """Points of ``hover --json``; the flight is summed over a thousand states of charge."""
    p = machine.vector()
    p[bench.RS] = motors * pack.resistance_ohm
    thrust = mass_g / 1000.0 * GRAVITY / motors
    start = _hold(p, thrust, pack.at_rest(charge))
    if start is None:
        return {}
    throttle = float(brentq(lambda x: _duty(p, x) - start.duty, 1e-6, 1.0, xtol=1e-12))
    full = _settled(p, 1.0, pack.at_rest(charge))
    found = {
        "hover_throttle": throttle,
        "current_a": motors * start.bus,
        "hover_power_w": motors * start.bus * start.at_bus,
        "pack_voltage_v": start.at_bus,
        "thrust_to_weight": _load(p, full)[0] / thrust,
    }
    charges = np.linspace(charge, reserve, 1001)
    slow = []
    for q in charges:
        point = _hold(p, thrust, pack.at_rest(float(q)))
        if point is None:
            break
        slow.append(pack.charge_as / (motors * point.bus))
    found["flight_time_s"] = float(np.trapezoid(slow, -charges[: len(slow)]))
    return found


def _duty(p: Array, x: float) -> float:
    y = 1.0 - x
    return float(1.0 - p[bench.DS] * y + p[bench.DC] * x * y + p[bench.DE] * x * y * (1.0 - 2.0 * x))


def heat(machine: TrueMachine, thrust: float, limit_c: float) -> Mapping[str, float]:
    """Winding temperature [°C] of holding a thrust [N] without end, and motor current [A] at a limit [°C].

    Where the simulator's rates of both temperatures are nothing. Infinite where they run away.
    """
    p = machine.vector()
    w = float(brentq(lambda w: _load(p, w)[0] - thrust, 1.0, 2e4, xtol=1e-10))

    def at_limit(log_w: float) -> float:
        return _winding(p, math.exp(log_w))[0] - limit_c

    top = 1.0
    while at_limit(top) < 0.0:
        top += 0.02
    hottest = math.exp(float(brentq(at_limit, top - 0.02, top, xtol=1e-10)))
    winding, _ = _winding(p, w)
    return {
        "steady_winding_temperature_c": winding,
        "continuous_motor_current_a": _winding(p, hottest)[1],
    }


def _winding(p: Array, w: float) -> tuple[float, float]:
    """Settled winding temperature [°C] and motor current [A] at a speed; infinite where it runs away."""
    torque = _load(p, w)[1]
    t_w = t_b = float(p[bench.AIR])
    current = 0.0
    for _ in range(400):
        flux = float(bench._weakening(p, t_b))
        current = _current_for(p, torque, w, flux) if flux > 0.05 else math.nan
        if not (math.isfinite(current) and t_w < 1000.0):
            return math.inf, current
        drag = p[bench.I0] + w * (p[bench.I1] + w * p[bench.I2])
        copper = current**2 * p[bench.R] * (1.0 + COPPER_COEFFICIENT * (t_w - 25.0))
        iron = p[bench.KT] * flux * drag * w
        new_b = p[bench.AIR] + p[bench.TB] / p[bench.CB] * (copper + iron)
        new_w = new_b + p[bench.TW] / p[bench.CW] * copper
        if abs(new_w - t_w) < 1e-9:
            break
        t_w, t_b = float(new_w), float(new_b)
    return t_w, current
