"""Steady operating points: the speed at which motor torque and propeller torque balance.

For every draw of the parameters and every point of a grid of throttles: speed, currents, voltages, thrust and
torque. A draw is a row; rows are solved in threads, since the kernel releases the interpreter's lock.

At a speed ω the current that drives is I = (d (E - R_s I_q) - K_e ω)/(R + R_c + d² R_s), or the limit where
that is larger; it falls as ω rises while the propeller's torque grows, so the balance

    F(ω) = K_t/(1 + (I/I_s)²) (I - I_0(ω)) - Q_p(ω) = 0

has one root (in deep saturation, I > I_s, there may be more; one of them is given). A quadratic gives the
start, Newton steps kept inside a shrinking bracket the rest (the safeguarded Newton method, e.g. W. H. Press
et al., Numerical Recipes, 3rd ed. 2007, section 9.4).
"""

from __future__ import annotations

import itertools
import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.compiled import kernel
from motorfit.physics.drive import Drive, Load
from motorfit.physics.values import PhysicsError, require_between

Array = NDArray[np.float64]

# fmt: off
(_KE, _KT, _R, _I0, _I1, _I2, _SAT, _RC, _IQ, _LIMIT, _DUTY_S, _DUTY_C, _DUTY_E, _RS,
 _THRUST, _TORQUE, _A_T, _A_Q, _LOG_W_REF) = range(19)
# fmt: on

_THREADED_ABOVE = 20_000
"""Points above which threads pay for their start."""


@dataclass(frozen=True, slots=True)
class OperatingPoints:
    """Steady states, each array (draws, grid).

    Attributes
    ----------
    speed : [rad/s];  motor_current : [A];  bus_current : [A];  bus_voltage : [V];  motor_voltage : [V]
    thrust : [N];  torque : at the shaft [N m];  electrical_power : into the controller [W]
    mechanical_power : at the shaft [W];  duty : in force, after limiting [1]
    limited : True where the current limit holds;  turning : False where the motor does not start
    """

    speed: Array
    motor_current: Array
    bus_current: Array
    bus_voltage: Array
    motor_voltage: Array
    thrust: Array
    torque: Array
    electrical_power: Array
    mechanical_power: Array
    duty: Array
    limited: NDArray[np.bool_]
    turning: NDArray[np.bool_]


@kernel
def _duty(p: Array, x: float) -> float:
    y = 1.0 - x
    d: float = 1.0 - p[_DUTY_S] * y + p[_DUTY_C] * x * y + p[_DUTY_E] * x * y * (1.0 - 2.0 * x)
    return min(max(d, 0.0), 1.0)


@kernel
def _power(omega: float, log_reference: float, exponent: float) -> float:
    if exponent == 0.0:
        return 1.0
    return math.exp(exponent * (math.log(max(omega, 1e-6)) - log_reference))


@kernel
def _balance(p: Array, drive: float, slope: float, top: float, growth: float) -> float:
    """Root of F [rad/s] in (0, top], I = drive - slope ω; ``growth`` [1] guesses Q_p's Reynolds factor."""
    kt, a_q, sat, log_ref = p[_KT], p[_A_Q], p[_SAT], p[_LOG_W_REF]
    per_kt = 1.0 / kt
    a = kt * (drive - p[_I0])
    b = kt * (slope + p[_I1])
    root = b + math.sqrt(b * b + 4.0 * a * (kt * p[_I2] + p[_TORQUE] * growth))
    w = 2.0 * a / root if root > 0.0 else top
    low, high = 0.0, top
    w = min(max(w, 1e-6 * top), top)
    for _ in range(100):
        i = drive - slope * w
        load_slope = p[_TORQUE] * w * _power(w, log_ref, a_q)
        over = i - p[_I0] - w * (p[_I1] + w * p[_I2])
        soft = kt / (1.0 + i * i * sat) if sat > 0.0 else kt
        f = soft * over - load_slope * w
        if f > 0.0:
            low = w
        else:
            high = w
        df = -soft * (slope + p[_I1] + 2.0 * p[_I2] * w) - (2.0 + a_q) * load_slope
        df += soft * soft * per_kt * 2.0 * i * sat * slope * over
        new = w - f / df if df < 0.0 else -1.0
        newton = low <= new <= high
        if not newton:
            new = 0.5 * (low + high)
        moved = abs(new - w)
        w = new
        # a Newton step this small leaves an error of its square
        if (newton and moved <= 2e-6 * w) or high - low <= 1e-13 * top:
            break
    return w


@kernel
def _solve(p: Array, throttle: Array, supply: Array, out: Array, first: int, last: int) -> None:
    """Rows first to last; out (10, draws, grid): ω, I_m, I_b, V_b, V_m, T, Q, d, limited, turning."""
    for s in range(first, last):
        q = p[s]
        rt = q[_R] + q[_RC]
        growth = 1.0
        for k in range(throttle.shape[0]):
            d = _duty(q, throttle[k])
            e = supply[k] - q[_RS] * q[_IQ]
            total = rt + d * d * q[_RS]
            locked = max(d * e / total, 0.0)
            slope = q[_KE] / total
            w, i = 0.0, min(locked, q[_LIMIT])
            limited = locked > q[_LIMIT]
            turning = i > q[_I0]
            if turning:
                w = _balance(q, locked, slope, locked / slope, growth)
                i = locked - slope * w
                limited = i > q[_LIMIT]
                if limited:
                    i = q[_LIMIT]
                    w = _balance(q, i, 0.0, (locked - i) / slope, growth)
                growth = _power(w, q[_LOG_W_REF], q[_A_Q])
            if limited:
                need = q[_KE] * w + rt * i
                d = 2.0 * need / (e + math.sqrt(max(e * e - 4.0 * q[_RS] * i * need, 0.0)))
            bus = d * i + q[_IQ]
            out[0, s, k] = w
            out[1, s, k] = i
            out[2, s, k] = bus
            out[3, s, k] = supply[k] - q[_RS] * bus
            out[4, s, k] = q[_KE] * w + q[_R] * i
            out[5, s, k] = q[_THRUST] * w * w * _power(w, q[_LOG_W_REF], q[_A_T])
            out[6, s, k] = q[_TORQUE] * w * w * growth
            out[7, s, k] = d
            out[8, s, k] = 1.0 if limited else 0.0
            out[9, s, k] = 1.0 if turning else 0.0


def operating_points(
    throttle: ArrayLike, supply_voltage: ArrayLike, drive: Drive, load: Load | None = None
) -> OperatingPoints:
    """Where a motor settles, for every draw and every throttle.

    Parameters
    ----------
    throttle : (grid,) or a number [1], 0 to 1
    supply_voltage : (grid,) or a number, open-circuit voltage of the supply [V], above 0
    drive : motor, controller and source resistance, (draws,)
    load : propeller, (draws,); None for a bare shaft

    Returns
    -------
    OperatingPoints : arrays (draws, grid). Where the torque does not overcome the static drag the speed is 0,
        `turning` is False and the current is that of the locked winding, held by the limit.

    Raises
    ------
    PhysicsError : for a throttle outside 0..1, a voltage not above 0, or draws of unequal number
    """
    x = np.atleast_1d(np.asarray(throttle, dtype=np.float64))
    e = np.atleast_1d(np.asarray(supply_voltage, dtype=np.float64))
    require_between("throttle", x, 0.0, 1.0, "(1)", "Give throttle as a share of full, 0.5 for 50 %.")
    require_between(
        "supply voltage", e, math.ulp(0.0), 1e4, "V", "Give the open-circuit voltage of the supply."
    )
    if x.ndim > 1 or e.ndim > 1 or (x.size != e.size and 1 not in (x.size, e.size)):
        raise PhysicsError(
            f"throttle has shape {x.shape} and supply voltage {e.shape}; allowed are numbers or lists of one "
            "length. Give one voltage, or one a throttle."
        )
    x, e = (np.ascontiguousarray(a) for a in np.broadcast_arrays(x, e))
    p = _rows(drive, load)
    out = np.empty((10, p.shape[0], x.size))
    chunks = _chunks(p.shape[0], x.size)
    if len(chunks) == 1:
        _solve(p, x, e, out, 0, p.shape[0])
    else:
        with ThreadPoolExecutor(len(chunks)) as pool:
            list(pool.map(lambda span: _solve(p, x, e, out, *span), chunks))
    return OperatingPoints(
        speed=out[0],
        motor_current=out[1],
        bus_current=out[2],
        bus_voltage=out[3],
        motor_voltage=out[4],
        thrust=out[5],
        torque=out[6],
        electrical_power=out[2] * out[3],
        mechanical_power=out[6] * out[0],
        duty=out[7],
        limited=out[8] > 0.0,
        turning=out[9] > 0.0,
    )


def _rows(drive: Drive, load: Load | None) -> Array:
    """One row a draw, in the order of the slots above."""
    saturation = np.asarray(drive.saturation_current, dtype=np.float64)
    columns: list[ArrayLike] = [
        drive.k_e,
        drive.k_t,
        drive.resistance,
        drive.drag_static,
        drive.drag_slope,
        drive.drag_windage,
        1.0 / (saturation * saturation),
        drive.controller_resistance,
        drive.idle_current,
        drive.current_limit,
        drive.duty_slope,
        drive.duty_curvature,
        drive.duty_cubic,
        drive.source_resistance,
    ]
    if load is None:
        columns += [0.0, 0.0, 0.0, 0.0, 0.0]
    else:
        columns += [load.thrust_factor(), load.torque_factor(), load.thrust_exponent, load.torque_exponent]
        columns += [np.log(load.reference_speed())]
    try:
        wide = np.broadcast_arrays(*(np.atleast_1d(np.asarray(c, dtype=np.float64)) for c in columns))
    except ValueError as error:
        sizes = sorted({np.size(c) for c in columns})
        raise PhysicsError(
            f"parameters have {' and '.join(str(n) for n in sizes)} draws; allowed is one "
            "number of draws, or single values. Take motor, controller and propeller draws from the same fit."
        ) from error
    return np.ascontiguousarray(np.stack(wide, axis=1))


def _chunks(draws: int, grid: int) -> list[tuple[int, int]]:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    workers = 1 if draws * grid < _THREADED_ABOVE else min(cores, 8, draws)
    edges = np.linspace(0, draws, workers + 1).astype(int).tolist()
    return [(a, b) for a, b in itertools.pairwise(edges) if b > a]
