"""A motor, its controller and its propeller, integrated tightly: the reference for the forward pass."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp

from motorfit.lanes import LANES
from motorfit.physics import slots as f
from motorfit.physics.forward import simulate_driven

Array = npt.NDArray[np.float64]

VOLTAGE = 14.8
HOT_AIR_C = 25.0
"""At 25 degC resistance and constants are their nominal ones."""


def slots(**changes: float) -> Array:
    """Parameters of a bare motor that does not warm; changes are named as `P_*`, in lower case."""
    p = np.zeros(f.N_PHYSICS)
    values = {
        "ke": 0.0095, "kt": 0.0093, "r": 0.06, "rc": 0.01, "i0": 0.6, "i1": 1e-4, "i2": 2e-7, "j": 8e-6,
        "brake": 1.0, "limit": 1e9, "duty_s": 1.0, "idle": 0.05, "wref": 500.0 * math.pi,
        "tw": 5.0, "tb": 60.0, "air": HOT_AIR_C,
    }  # fmt: skip
    for name, value in (values | changes).items():
        p[getattr(f, f"P_{name.upper()}")] = value
    return p


PROPELLER: Mapping[str, float] = {"ct": 4e-6, "cq": 6e-8, "j": 2e-5}


@dataclass(frozen=True)
class Reference:
    """Means in time over blocks, and states at instants, of the same machine integrated tightly."""

    p: Array
    throttle: float
    voltage: float
    freewheel: bool
    solution: Any

    def currents(self, omega: Array) -> tuple[Array, Array]:
        """Motor and bus current [A] at speeds [rad/s]."""
        if self.freewheel:
            return np.zeros_like(omega), np.zeros_like(omega)
        return _currents(self.p, self.throttle, self.voltage, omega)

    def at(self, times: Array) -> Array:
        """Readings (times, N_CHANNELS) at instants [s]."""
        omega = self.solution.sol(times)[0]
        i_m, bus = self.currents(omega)
        return _readings(self.p, omega, omega**2, i_m, bus)

    def block_means(self, edges: Array) -> Array:
        """Means in time (blocks, N_CHANNELS) between edges [s]."""
        omega, way, square, motor, bus = np.diff(self.solution.sol(edges)) / np.diff(edges)
        del omega
        return _readings(self.p, way, square, motor, bus)


def integrate(
    p: Array, throttle: float, duration_s: float, *, voltage: float = VOLTAGE, freewheel: bool = False
) -> Reference:
    """Integrate the machine from p[P_OMEGA0] at constant throttle and supply."""

    def slope(_t: float, y: Array) -> list[float]:
        w = np.asarray(y[0])
        i_m, bus = (w * 0.0, w * 0.0) if freewheel else _currents(p, throttle, voltage, w)
        load = p[f.P_CQ] * (max(y[0], 1.0) / p[f.P_WREF]) ** p[f.P_AQ] * w**2
        return [
            float((_torque(p, w, w**2, i_m) - load) / p[f.P_J]),
            float(w),
            float(w**2),
            float(i_m),
            float(bus),
        ]

    start = [p[f.P_OMEGA0], 0.0, 0.0, 0.0, 0.0]
    done = solve_ivp(
        slope, (0.0, duration_s), start, method="DOP853", rtol=1e-10, atol=1e-12, dense_output=True,
        max_step=duration_s / 200.0,
    )  # fmt: skip
    return Reference(p, throttle, voltage, freewheel, done)


def simulate(
    p: Array,
    edges: Array,
    throttle: float | Array,
    *,
    slope: float | Array = 0.0,
    samples: float = 1e12,
    voltage: float = VOLTAGE,
    freewheel: bool = False,
) -> Array:
    """Block means (blocks, N_CHANNELS) of the forward pass; with endless samples they are means in time.

    Throttle, and by how much it rises within blocks [1/s], are one number, or one a block.
    """
    n = edges.size - 1
    out = np.empty((n, f.N_CHANNELS, LANES))
    simulate_driven(
        in_lanes(p),
        np.diff(edges),
        np.full(n, throttle),
        np.full(n, slope),
        np.full((n, LANES), voltage),
        np.ones(n),
        np.full(n, samples),
        freewheel,
        out,
    )
    return out[..., -1]


def in_lanes(x: Array) -> Array:
    """The same numbers for the last of eight draws, others for the rest, which must not matter."""
    return np.ascontiguousarray(np.multiply.outer(x, np.linspace(0.9, 1.0, LANES)))


def _currents(p: Array, throttle: float, voltage: float, omega: Array) -> tuple[Array, Array]:
    """The controller by its own rules: ideal current, shared when braking, clipped at the limit."""
    ke, r_all, limit = p[f.P_KE], p[f.P_R] + p[f.P_RC], p[f.P_LIMIT]
    duty = 1.0 - p[f.P_DUTY_S] * (1.0 - throttle)
    ideal = (duty * voltage - ke * omega) / r_all
    i_m = np.clip(np.where(ideal < 0.0, p[f.P_BRAKE] * ideal, ideal), -limit, limit)
    effective = (ke * omega + r_all * i_m) / voltage
    return i_m, effective * i_m + p[f.P_IDLE]


def _torque(p: Array, omega: Array, square: Array, i_m: Array) -> Array:
    drag = p[f.P_I0] + p[f.P_I1] * omega + p[f.P_I2] * square
    torque: Array = p[f.P_KT] / (1.0 + i_m**2 * p[f.P_SAT]) * (i_m - drag)
    return torque


def _readings(p: Array, omega: Array, square: Array, i_m: Array, bus: Array) -> Array:
    thrust = p[f.P_CT] * (np.maximum(omega, 1.0) / p[f.P_WREF]) ** p[f.P_AT] * square
    volts = p[f.P_KE] * omega + p[f.P_R] * i_m
    columns = [bus, omega, thrust, _torque(p, omega, square, i_m), i_m, volts]
    return np.stack(columns, axis=1)
