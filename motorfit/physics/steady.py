"""Steady operating points: the speed at which motor torque and propeller torque balance.

For every draw of the parameters and every point of a grid of throttles: speed, currents, voltages, thrust and
torque. A draw is a row; rows are solved in threads, since the kernel releases the interpreter's lock.

At a speed ω the current that drives is I = (d (E - R_s I_q) - K_e ω)/(R + R_c + d² R_s), or the limit where
that is larger; it falls as ω rises while the propeller's torque grows, so the balance

    F(ω) = K_t/(1 + (I/I_s)²) (I - I_0(ω)) - Q_p(ω) = 0

has one root (in deep saturation, I > I_s, there may be more; one of them is given). A quadratic gives the
start, from the fourth point on the parabola through the three before it; Newton steps kept inside a shrinking
bracket the rest (the safeguarded Newton method, e.g. W. H. Press et al., Numerical Recipes, 3rd ed. 2007,
section 9.4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.compiled import kernel
from motorfit.physics.drive import Drive, Load
from motorfit.physics.rows import (
    R_AQ,
    R_AT,
    R_DUTY_C,
    R_DUTY_E,
    R_DUTY_S,
    R_I0,
    R_I1,
    R_I2,
    R_IQ,
    R_KE,
    R_KT,
    R_LIMIT,
    R_LOG_REF,
    R_R,
    R_RC,
    R_RS,
    R_SAT,
    R_THRUST,
    R_TORQUE,
    rows_of,
    shared_out,
)
from motorfit.physics.values import PhysicsError, require_between

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


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
    if x <= 0.0:
        return 0.0
    y = 1.0 - x
    d: float = 1.0 - p[R_DUTY_S] * y + p[R_DUTY_C] * x * y + p[R_DUTY_E] * x * y * (1.0 - 2.0 * x)
    return min(max(d, 0.0), 1.0)


@kernel
def _balance(p: Array, drive: float, slope: float, top: float, guess: float) -> tuple[float, float, float]:
    """Root of F [rad/s] in (0, top], I = drive - slope ω, from a guess [rad/s]; 0: from the quadratic.

    Returns the speed, the logarithm of its ratio to the reference, and the Reynolds factor of the torque.
    """
    kt, a_q, sat, load = p[R_KT], p[R_AQ], p[R_SAT], p[R_TORQUE]
    turns = a_q != 0.0 or p[R_AT] != 0.0  # else the logarithm is not needed
    per_kt = 1.0 / kt
    w = guess
    if not 0.0 < w <= top:
        a = kt * (drive - p[R_I0])
        b = kt * (slope + p[R_I1])
        root = b + math.sqrt(b * b + 4.0 * a * (kt * p[R_I2] + load))
        w = 2.0 * a / root if root > 0.0 else top
    low, high = 0.0, top
    w = min(max(w, 1e-6 * top), top)
    log_ratio, growth = 0.0, 1.0
    if turns:
        log_ratio = math.log(max(w, 1e-6)) - p[R_LOG_REF]
        growth = math.exp(a_q * log_ratio)
    for _ in range(100):
        i = drive - slope * w
        load_slope = load * w * growth
        over = i - p[R_I0] - w * (p[R_I1] + w * p[R_I2])
        soft = kt / (1.0 + i * i * sat) if sat > 0.0 else kt
        f = soft * over - load_slope * w
        if f > 0.0:
            low = w
        else:
            high = w
        df = -soft * (slope + p[R_I1] + 2.0 * p[R_I2] * w) - (2.0 + a_q) * load_slope
        df += soft * soft * per_kt * 2.0 * i * sat * slope * over
        new = w - f / df if df < 0.0 else -1.0
        newton = low <= new <= high
        if not newton:
            new = 0.5 * (low + high)
        moved = new - w
        if turns:
            # a small move's logarithm and power by their series, which cost no call
            x = moved / w
            if abs(x) < 1e-4 and w > 1e-6:
                log_ratio += x * (1.0 - x * (0.5 - x / 3.0))
                growth *= 1.0 + a_q * x * (1.0 + 0.5 * (a_q - 1.0) * x * (1.0 + (a_q - 2.0) * x / 3.0))
            else:
                log_ratio = math.log(max(new, 1e-6)) - p[R_LOG_REF]
                growth = math.exp(a_q * log_ratio)
        w = new
        # a Newton step this small leaves an error of its square
        if (newton and abs(moved) <= 2e-6 * w) or high - low <= 1e-13 * top:
            break
    return w, log_ratio, growth


@kernel
def _ahead(x: Array, k: int, w1: float, w2: float, w3: float) -> float:
    """Speed at x[k] by the parabola through the three points before it; 0 where they do not make one."""
    a, b, c = x[k - 1], x[k - 2], x[k - 3]
    if a in (b, c) or b == c:
        return 0.0
    first = (w1 - w2) / (a - b)
    second = (first - (w2 - w3) / (b - c)) / (a - c)
    ahead: float = w1 + (x[k] - a) * (first + (x[k] - b) * second)
    return ahead


@kernel
def _solve(p: Array, throttle: Array, supply: Array, out: Array, flags: Flags, first: int, last: int) -> None:
    """Rows first to last; supply (1 or draws, grid); out (10, draws, grid): ω, I_m, I_b, V_b, V_m, T, Q, d,
    electrical and mechanical power; flags (2, draws, grid): limited, turning."""
    for s in range(first, last):
        q = p[s]
        rt = q[R_R] + q[R_RC]
        own = supply[s] if supply.shape[0] > 1 else supply[0]
        # speeds of the points before, free and limited, from which the next is foreseen
        w1, w2, w3, run = 0.0, 0.0, 0.0, 0
        v1, v2, v3, held = 0.0, 0.0, 0.0, 0
        for k in range(throttle.shape[0]):
            d = _duty(q, throttle[k])
            e = own[k] - q[R_RS] * q[R_IQ]
            total = rt + d * d * q[R_RS]
            locked = max(d * e / total, 0.0)
            slope = q[R_KE] / total
            w, growth, log_ratio, i = 0.0, 1.0, 0.0, min(locked, q[R_LIMIT])
            limited = locked > q[R_LIMIT]
            turning = i > q[R_I0]
            if turning:
                guess = _ahead(throttle, k, w1, w2, w3) if run >= 3 else 0.0
                w, log_ratio, growth = _balance(q, locked, slope, locked / slope, guess)
                w3, w2, w1, run = w2, w1, w, run + 1
                i = locked - slope * w
                limited = i > q[R_LIMIT]
                if limited:
                    i = q[R_LIMIT]
                    guess = _ahead(throttle, k, v1, v2, v3) if held >= 3 else 0.0
                    w, log_ratio, growth = _balance(q, i, 0.0, (locked - i) / slope, guess)
                    v3, v2, v1, held = v2, v1, w, held + 1
                else:
                    held = 0
            else:
                run, held = 0, 0
            if limited:
                need = q[R_KE] * w + rt * i
                d = 2.0 * need / (e + math.sqrt(max(e * e - 4.0 * q[R_RS] * i * need, 0.0)))
            bus = d * i + q[R_IQ]
            torque = q[R_TORQUE] * w * w * growth
            out[0, s, k] = w
            out[1, s, k] = i
            out[2, s, k] = bus
            out[3, s, k] = own[k] - q[R_RS] * bus
            out[4, s, k] = q[R_KE] * w + q[R_R] * i
            out[5, s, k] = q[R_THRUST] * w * w * (math.exp(q[R_AT] * log_ratio) if q[R_AT] != 0.0 else 1.0)
            out[6, s, k] = torque
            out[7, s, k] = d
            out[8, s, k] = bus * (own[k] - q[R_RS] * bus)
            out[9, s, k] = torque * w
            flags[0, s, k] = limited
            flags[1, s, k] = turning


def operating_points(
    throttle: ArrayLike, supply_voltage: ArrayLike, drive: Drive, load: Load | None = None
) -> OperatingPoints:
    """Where a motor settles, for every draw and every throttle.

    Parameters
    ----------
    throttle : (grid,) or a number [1], 0 to 1
    supply_voltage : (grid,), (draws, grid), (draws, 1) or a number, open-circuit voltage of the supply [V],
        above 0
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
    p = rows_of(drive, load)
    if p.shape[0] == 1 and e.ndim == 2:
        p = np.repeat(p, e.shape[0], axis=0)
    try:
        if x.ndim > 1 or e.ndim > 2 or (e.ndim == 2 and e.shape[0] not in (1, p.shape[0])):
            raise ValueError
        grid = np.broadcast_shapes(x.shape, e.shape[-1:])
        x = np.ascontiguousarray(np.broadcast_to(x, grid))
        e = np.ascontiguousarray(np.broadcast_to(e, (*e.shape[:-1], *grid)))
    except ValueError:
        raise PhysicsError(
            f"throttle has shape {x.shape} and supply voltage {e.shape}; allowed are numbers or lists of one "
            "length, and one voltage a draw, (draws, 1). Give one voltage, or one a throttle."
        ) from None
    out = np.empty((10, p.shape[0], x.size))
    flags = np.empty((2, p.shape[0], x.size), dtype=np.bool_)
    supply = e.reshape(-1, x.size)
    shared_out(lambda a, b: _solve(p, x, supply, out, flags, a, b), p.shape[0], x.size)
    return OperatingPoints(
        speed=out[0],
        motor_current=out[1],
        bus_current=out[2],
        bus_voltage=out[3],
        motor_voltage=out[4],
        thrust=out[5],
        torque=out[6],
        electrical_power=out[8],
        mechanical_power=out[9],
        duty=out[7],
        limited=flags[0],
        turning=flags[1],
    )
