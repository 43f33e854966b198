"""The bench itself: speed, temperatures and currents of one run, by fourth-order Runge-Kutta in fine steps.

Between samples the throttle is held. The steps are 0.2 ms or shorter, far below every time constant of the
model, and the electrical side is at rest within each (a winding's L/R is about 0.1 ms). At throttle zero the
controller opens its bridge: the motor carries no current and coasts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.compiled import kernel
from motorfit.physics.motor import COPPER_COEFFICIENT, MAGNET_COEFFICIENT, back_emf_constant

LONGEST_STEP_S = 2e-4

STILL_AIR = 4.0
"""The body's time constant without a propeller's wash, relative to that within it [1]."""

Array = NDArray[np.float64]

# fmt: off
(KE, KT, R, I0, I1, I2, SAT, J, SHARE, CW, TW, CB, TB, MAG, AIR, RC, IQ, LIMIT, RS,
 DS, DC, DE, THRUST, TORQUE, A_T, A_Q, W_REF, I_EXCESS, MAG_SHARE, FOLD, WARMTH) = range(31)
(V_BUS, I_BUS, SPEED, T, Q, I_MOTOR, V_MOTOR, T_W, TURNS) = range(9)
# fmt: on
N_PARAMETERS, N_SIGNALS = 31, 9


@kernel
def _weakening(p: Array, t_b: float) -> float:
    """Flux relative to that at 25 °C [1]; the magnets warm by a share of what the body does."""
    flux: float = 1.0 - p[MAG] * (p[AIR] + p[MAG_SHARE] * (t_b - p[AIR]) - 25.0)
    return flux


@kernel
def _electrical(
    p: Array, x: float, supply: float, w: float, t_w: float, t_b: float
) -> tuple[float, float, float]:
    """Motor current [A], duty in force [1], bus voltage [V]."""
    if x <= 0.0:
        return 0.0, 0.0, supply - p[RS] * p[IQ]
    y = 1.0 - x
    d = min(max(1.0 - p[DS] * y + p[DC] * x * y + p[DE] * x * y * (1.0 - 2.0 * x), 0.0), 1.0)
    rt = p[R] * (1.0 + COPPER_COEFFICIENT * (t_w - 25.0)) + p[RC]
    e = supply - p[RS] * p[IQ]
    back = p[KE] * _weakening(p, t_b) * w
    i = (d * e - back) / (rt + d * d * p[RS])
    if 0.0 <= i <= p[LIMIT]:
        duty = d
    else:
        i = p[LIMIT] if i > 0.0 else max(p[SHARE] * i, -p[LIMIT])
        need = back + rt * i
        duty = 2.0 * need / (e + math.sqrt(max(e * e - 4.0 * p[RS] * i * need, 0.0)))
    most = p[FOLD] - p[IQ]
    if duty * i <= most:
        return i, duty, supply - p[RS] * (duty * i + p[IQ])
    # the supply holds its current: the bus voltage is what the motor then needs
    i = min(most / d, p[LIMIT])
    duty = most / i
    return i, duty, (back + rt * i) / duty


@kernel
def _slopes(
    p: Array, x: float, supply: float, w: float, t_w: float, t_b: float
) -> tuple[float, float, float]:
    """Rates of speed [rad/s²] and of both temperatures [K/s]."""
    i, _, _ = _electrical(p, x, supply, w, t_w, t_b)
    weak = _weakening(p, t_b)
    drag = p[I0] + w * (p[I1] + w * p[I2]) + p[I_EXCESS] * math.sqrt(max(w, 0.0))
    kt = p[KT] * weak / (1.0 + i * i * p[SAT])
    net = kt * (i - drag) - p[TORQUE] * w * w * (max(w, 1e-3) / p[W_REF]) ** p[A_Q]
    dw = net / p[J]
    if w <= 0.0 and dw < 0.0:
        dw = 0.0
    if p[CW] <= 0.0:  # no heating
        return dw, 0.0, 0.0
    flow = p[CW] / p[TW] * (t_w - t_b)
    copper = i * i * p[R] * (1.0 + COPPER_COEFFICIENT * (t_w - 25.0))
    iron = p[KT] * weak * drag * w
    return dw, (copper - flow) / p[CW], (iron + flow - p[CB] / p[TB] * (t_b - p[AIR])) / p[CB]


@kernel
def integrate(p: Array, throttle: Array, supply: float, interval: float, steps: int, out: Array) -> None:
    """Fill ``out`` (N_SIGNALS, samples) with what is true at the instant of each sample.

    Parameters
    ----------
    p : (N_PARAMETERS,) see `run_parameters`, SI
    throttle : (samples,) held from each sample to the next [1]
    supply : open-circuit voltage [V];  interval : between samples [s];  steps : integration steps a sample
    """
    w, turns = 0.0, 0.0
    t_w = t_b = p[AIR] + p[WARMTH]
    h = interval / steps
    for k in range(throttle.shape[0]):
        x = throttle[k]
        i, d, volts = _electrical(p, x, supply, w, t_w, t_b)
        dw, _, _ = _slopes(p, x, supply, w, t_w, t_b)
        ratio = max(w, 1e-3) / p[W_REF]
        load = p[TORQUE] * w * w * ratio ** p[A_Q]
        bus = d * i + p[IQ]
        out[V_BUS, k] = volts
        out[I_BUS, k] = bus
        out[SPEED, k] = w
        out[T, k] = p[THRUST] * w * w * ratio ** p[A_T]
        out[Q, k] = p[J] * dw + load
        out[I_MOTOR, k] = i
        out[V_MOTOR, k] = (
            p[KE] * _weakening(p, t_b) * w + p[R] * (1.0 + COPPER_COEFFICIENT * (t_w - 25.0)) * i
        )
        out[T_W, k] = t_w
        out[TURNS, k] = turns
        for _ in range(steps):
            a1, b1, c1 = _slopes(p, x, supply, w, t_w, t_b)
            g = 0.5 * h
            a2, b2, c2 = _slopes(p, x, supply, w + g * a1, t_w + g * b1, t_b + g * c1)
            a3, b3, c3 = _slopes(p, x, supply, w + g * a2, t_w + g * b2, t_b + g * c2)
            a4, b4, c4 = _slopes(p, x, supply, w + h * a3, t_w + h * b3, t_b + h * c3)
            before = w
            w = max(w + h / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4), 0.0)
            t_w += h / 6.0 * (b1 + 2.0 * b2 + 2.0 * b3 + b4)
            t_b += h / 6.0 * (c1 + 2.0 * c2 + 2.0 * c3 + c4)
            turns += 0.5 * h * (before + w) / (2.0 * math.pi)


def excess_current(motor: Mapping[str, float], share: float) -> float:
    """Drag current per root of speed [A/√(rad/s)], ``share`` of the no-load current at 10 V."""
    if share == 0.0:
        return 0.0
    i10 = motor["no_load_current"]
    omega10 = (10.0 - motor["winding_resistance"] * i10) / float(back_emf_constant(motor["kv"]))
    return share * i10 / math.sqrt(omega10)


def run_parameters(
    motor: Mapping[str, float],
    stand: Mapping[str, float],
    *,
    propeller: Mapping[str, float] | None,
    diameter: float,
    density: float,
    load_inertia: float,
    source_resistance: float,
    current_limit: float,
    air_c: float,
    reference_rev_per_s: float = 250.0,
    excess_loss: float = 0.0,
    magnet_share: float = 1.0,
    fold_back_a: float = math.inf,
    warmth_k: float = 0.0,
) -> Array:
    """The vector `integrate` takes, of parameters by their posterior names.

    ``diameter`` [m], ``density`` [kg/m³], ``load_inertia`` at the motor's shaft [kg m²],
    ``source_resistance`` [ohm], ``current_limit`` the true one [A], ``air_c`` [°C]; ``propeller`` None for a
    bare shaft or a flywheel, whose body cools four times as slowly. Motors without heat capacities do not
    heat. ``excess_loss`` [1], ``magnet_share`` [1], ``fold_back_a`` [A] as in `BenchOptions`; ``warmth_k``
    above the air at the start [K].
    """
    p = np.zeros(N_PARAMETERS)
    k_e = float(back_emf_constant(motor["kv"]))
    values: dict[int, Any] = {
        KE: k_e,
        KT: motor["kt"],
        R: motor["winding_resistance"],
        I0: motor["drag_current_static"],
        I1: motor["drag_current_slope"],
        I2: motor["drag_current_windage"],
        SAT: motor.get("saturation_current", math.inf) ** -2.0,
        J: motor["rotor_inertia"] + load_inertia,
        SHARE: motor["braking_share"],
        CW: motor.get("winding_heat_capacity", 0.0),
        TW: motor.get("winding_time_constant", 1.0),
        CB: motor.get("body_heat_capacity", 1.0),
        TB: motor.get("body_time_constant", 1.0) * (1.0 if propeller is not None else STILL_AIR),
        MAG: motor.get("magnet_temperature_coefficient", MAGNET_COEFFICIENT),
        AIR: air_c,
        RC: stand["controller_resistance"],
        IQ: stand["controller_idle_current"],
        LIMIT: current_limit,
        RS: source_resistance,
        DS: stand["duty_slope"],
        DC: stand["duty_curvature"],
        DE: stand["duty_cubic"],
        W_REF: 2.0 * math.pi * reference_rev_per_s,
        I_EXCESS: excess_current(motor, excess_loss),
        MAG_SHARE: magnet_share,
        FOLD: fold_back_a,
        WARMTH: warmth_k,
    }
    if propeller is not None:
        per_turn = density / (2.0 * math.pi) ** 2
        values |= {
            THRUST: propeller["thrust_coefficient"] * per_turn * diameter**4,
            TORQUE: propeller["torque_coefficient"] * per_turn * diameter**5,
            A_T: propeller["thrust_reynolds_exponent"],
            A_Q: propeller["torque_reynolds_exponent"],
        }
    for slot, value in values.items():
        p[slot] = value
    return p
