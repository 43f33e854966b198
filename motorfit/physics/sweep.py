"""Steady operating points of many draws at once along a grid: what `motorfit.physics.steady` computes with.

Draws go through in blocks whose numbers lie in one small array, so that every loop below is straight
arithmetic over neighbours, which compilers turn into vector instructions. From point to point of the grid
each draw keeps its last speeds, whose parabola foresees the next, and the logarithm of its speed, which moves
by a series. Where Halley's method does not settle, the draw is solved alone (`motorfit.physics.balance`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from motorfit.compiled import kernel
from motorfit.physics.balance import balance
from motorfit.physics.block import (
    EVERY,
    K_HELD,
    K_L,
    K_RUN,
    K_W,
    K_W1,
    K_W2,
    K_W3,
    KEPT,
    O_SPEED,
    ROWS,
    S_D,
    S_E,
    S_G,
    S_HELD,
    S_I,
    S_LOCKED,
    S_NEXT,
    S_SLOPE,
    S_T,
    S_TOP,
    S_TURNS,
    S_X,
    B,
    copy,
    exponential,
    fill,
)
from motorfit.physics.rows import (
    N_ROW,
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
)

__all__ = ["fresh", "sweep"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int64]

_SETTLED, _EXACT = 1e-4, 1e-9
"""A step this small, of the speed, leaves an error of its cube; across the limit, of its own size."""
_STEPS = 8


def fresh(p: Array) -> Array:
    """Return what draws keep at the start of a sweep, (KEPT, draws)."""
    kept = np.zeros((KEPT, p.shape[1]))
    kept[0] = np.exp(p[R_LOG_REF])
    return kept


@kernel
def _given(z: Array, x: float, a: float, b: float, c: float, f: float, g: float) -> int:
    """Set up a point: what the locked motor takes, and a first guess of the speed.

    ``a, b, c`` weigh the last three speeds, ``f, g`` the last two. Returns how many draws have none: their
    guess is 0.
    """
    y = 1.0 - x
    cold = 0.0
    for s in range(B):
        d = (
            1.0
            - z[R_DUTY_S * B + s] * y
            + (z[R_DUTY_C * B + s] + z[R_DUTY_E * B + s] * (1.0 - 2.0 * x)) * x * y
        )
        d = 0.0 if d < 0.0 else d
        d = 1.0 if d > 1.0 else d
        d = 0.0 if x <= 0.0 else d
        e = z[S_E * B + s] - z[R_RS * B + s] * z[R_IQ * B + s]
        total = z[R_R * B + s] + z[R_RC * B + s] + d * d * z[R_RS * B + s]
        ke = z[R_KE * B + s]
        per = 1.0 / (total * ke)  # divisions are what takes time here
        locked = d * e * ke * per
        locked = 0.0 if locked < 0.0 else locked
        slope = ke * ke * per
        top = d * e * total * per
        limit = z[R_LIMIT * B + s]
        i = locked if locked < limit else limit
        turns = 1.0 if i > z[R_I0 * B + s] else 0.0
        run = z[K_RUN * B + s] * turns
        w1, w2, w3 = z[K_W1 * B + s], z[K_W2 * B + s], z[K_W3 * B + s]
        ahead = a * w1 + b * w2 + c * w3 if run >= 3.0 else f * w1 + g * w2
        ahead = top if ahead > top else ahead
        good = run >= 2.0 and ahead > 0.02 * top
        cold += turns if not good else 0.0
        z[S_D * B + s] = d
        z[S_TOP * B + s] = top
        z[S_LOCKED * B + s] = locked
        z[S_SLOPE * B + s] = slope
        z[S_TURNS * B + s] = turns
        z[S_I * B + s] = i
        z[K_RUN * B + s] = run
        z[S_NEXT * B + s] = ahead if good else (1.0 - turns) * z[K_W * B + s]
    return int(cold)


@kernel
def _cold_guess(z: Array) -> None:
    """Draws without last speeds start at the root of the quadratic without saturation and Reynolds number."""
    for s in range(B):
        kt, load = z[R_KT * B + s], z[R_TORQUE * B + s]
        slope, top, limit = z[S_SLOPE * B + s], z[S_TOP * B + s], z[R_LIMIT * B + s]
        b0, square = kt * z[R_I1 * B + s], 4.0 * (kt * z[R_I2 * B + s] + load)
        a = kt * (z[S_LOCKED * B + s] - z[R_I0 * B + s])
        a = 0.0 if a < 0.0 else a
        b = b0 + kt * slope
        w = 2.0 * a / (b + math.sqrt(b * b + a * square) + 1e-300)
        a = kt * (limit - z[R_I0 * B + s])
        a = 0.0 if a < 0.0 else a
        held = 2.0 * a / (b0 + math.sqrt(b0 * b0 + a * square) + 1e-300)
        w = held if z[S_LOCKED * B + s] - slope * w > limit else w
        w = top if w > top else w
        w = 1e-6 * top if w < 1e-6 * top else w
        z[S_NEXT * B + s] = w if z[S_NEXT * B + s] == 0.0 else z[S_NEXT * B + s]


@kernel
def _move(z: Array, reynolds: bool) -> None:
    """Go to the next speed; the logarithm and the Reynolds factor of the torque go with it."""
    if not reynolds:
        for s in range(B):
            z[K_W * B + s] = z[S_NEXT * B + s]
        return
    far = 0.0
    for s in range(B):
        new, old = z[S_NEXT * B + s], z[K_W * B + s]
        t = (new - old) / (new + old)
        z[S_T * B + s] = t
        far += 0.0 if abs(t) < 0.2 else 1.0
    if far == 0.0:
        for s in range(B):
            t = z[S_T * B + s]
            u = t * t
            p = 1.0 / 15.0 + u * (1.0 / 17.0 + u * (1.0 / 19.0))
            p = 1.0 / 9.0 + u * (1.0 / 11.0 + u * (1.0 / 13.0 + u * p))
            p = 1.0 + u * (1.0 / 3.0 + u * (0.2 + u * (1.0 / 7.0 + u * p)))
            z[K_L * B + s] += 2.0 * t * p
    else:
        for s in range(B):
            z[K_L * B + s] = math.log(max(z[S_NEXT * B + s], 1e-6)) - z[R_LOG_REF * B + s]
    steep = 0.0
    for s in range(B):
        y = z[R_AQ * B + s] * z[K_L * B + s]
        steep += 0.0 if abs(y) < EVERY else 1.0
        z[S_G * B + s] = exponential(y)
        z[K_W * B + s] = z[S_NEXT * B + s]
    if steep > 0.0:
        for s in range(B):
            z[S_G * B + s] = math.exp(z[R_AQ * B + s] * z[K_L * B + s])


@kernel
def _nudge(z: Array) -> None:
    """As `_move` with a small step: both follow by short series."""
    for s in range(B):
        x = z[S_X * B + s]
        dl = x * (1.0 - x * (0.5 - x * (1.0 / 3.0 - x * (0.25 - 0.2 * x))))
        y = z[R_AQ * B + s] * dl
        z[S_G * B + s] *= 1.0 + y * (
            1.0 + y * 0.5 * (1.0 + y * (1.0 / 3.0) * (1.0 + y * 0.25 * (1.0 + 0.2 * y)))
        )
        z[K_L * B + s] += dl
        z[K_W * B + s] = z[S_NEXT * B + s]


@kernel
def _newton(z: Array) -> tuple[float, float]:
    """One step of Halley's method on F, with the current at its limit where that is reached, into S_NEXT.

    Returns how many draws moved more than a settled one, and how many more than a hundredth.
    """
    loose, wide = 0.0, 0.0
    for s in range(B):
        w, kt, sat, slope = z[K_W * B + s], z[R_KT * B + s], z[R_SAT * B + s], z[S_SLOPE * B + s]
        i1, i2, limit = z[R_I1 * B + s], z[R_I2 * B + s], z[R_LIMIT * B + s]
        i = z[S_LOCKED * B + s] - slope * w
        held = i > limit
        i = limit if held else i
        slope = 0.0 if held else slope
        a_q, load = z[R_AQ * B + s], z[R_TORQUE * B + s] * z[S_G * B + s]
        load_slope = load * w
        over = i - z[R_I0 * B + s] - w * (i1 + w * i2)
        i_sat = i * sat if sat > 0.0 else 0.0
        # F and its slopes times powers of m = 1 + (I/I_s)², so that one division is enough
        m = 1.0 + i * i_sat
        dover, dm = -(slope + i1 + 2.0 * i2 * w), -2.0 * i_sat * slope
        f = m * (kt * over - m * load_slope * w)
        df = kt * (m * dover - dm * over) - (2.0 + a_q) * load_slope * m * m
        bend = dm * (over * dm - m * dover) - m * (over * sat * slope * slope + m * i2)
        ddf = 2.0 * kt * bend - (2.0 + a_q) * (1.0 + a_q) * load * m * m * m
        x = -2.0 * m * f * df / ((2.0 * m * df * df - f * ddf) * w)  # Halley's step
        new = w + w * x
        low, high = 0.25 * w, 4.0 * w
        high = z[S_TOP * B + s] if z[S_TOP * B + s] < high else high
        ok = df < 0.0 and new > low and new <= high
        new = new if ok else (low if new <= low else high)
        turns = z[S_TURNS * B + s]
        across = (z[S_LOCKED * B + s] - z[S_SLOPE * B + s] * new > limit) != held
        settled = ok and abs(x) <= (_EXACT if across else _SETTLED)
        loose += 0.0 if settled else turns
        wide += 0.0 if ok and abs(x) <= 0.01 else turns
        z[S_NEXT * B + s] = new if turns > 0.0 else w
        z[S_X * B + s] = x if turns > 0.0 else 0.0
        z[S_T * B + s] = 0.0 if settled else turns
    return loose, wide


@kernel
def _alone(z: Array) -> None:
    """Solve the draws that steps left open, one by one: free, and if need be at the limit."""
    for s in range(B):
        if z[S_T * B + s] == 0.0:
            continue
        kt, i0, i1, i2 = z[R_KT * B + s], z[R_I0 * B + s], z[R_I1 * B + s], z[R_I2 * B + s]
        sat, load, a_q, log_ref = z[R_SAT * B + s], z[R_TORQUE * B + s], z[R_AQ * B + s], z[R_LOG_REF * B + s]
        drive, slope = z[S_LOCKED * B + s], z[S_SLOPE * B + s]
        top, limit = z[S_TOP * B + s], z[R_LIMIT * B + s]
        w = balance(kt, i0, i1, i2, sat, load, a_q, log_ref, drive, slope, top)
        if drive - slope * w > limit:
            w = balance(kt, i0, i1, i2, sat, load, a_q, log_ref, limit, 0.0, (drive - limit) / slope)
        z[S_NEXT * B + s] = w


@kernel
def _solve(z: Array, reynolds: bool) -> None:
    """Bring a block from its guesses to its roots."""
    _move(z, reynolds)
    for step in range(_STEPS + 1):
        loose, wide = _newton(z)
        if loose > 0.0 and step == _STEPS:
            _alone(z)
            wide = 1.0
        if wide > 0.0 or not reynolds:
            _move(z, reynolds)
        else:
            _nudge(z)
        if loose == 0.0:
            break


@kernel
def _tell(z: Array, lifts: bool) -> None:
    """Work out the states of a point, and keep what the next point needs."""
    if lifts:
        steep = 0.0
        for s in range(B):
            y = z[R_AT * B + s] * z[K_L * B + s]
            steep += 0.0 if abs(y) < EVERY else 1.0
            z[S_T * B + s] = exponential(y)
        if steep > 0.0:
            for s in range(B):
                z[S_T * B + s] = math.exp(z[R_AT * B + s] * z[K_L * B + s])
    else:
        for s in range(B):
            z[S_T * B + s] = 1.0
    some = 0.0
    for s in range(B):
        w = z[K_W * B + s] if z[S_TURNS * B + s] > 0.0 else 0.0
        free = z[S_LOCKED * B + s] - z[S_SLOPE * B + s] * w
        limit = z[R_LIMIT * B + s]
        limited = 1.0 if free > limit else 0.0
        z[S_I * B + s] = limit if free > limit else free
        z[S_HELD * B + s] = limited
        z[O_SPEED * B + s] = w
        some += limited
    if some > 0.0:
        for s in range(B):
            i, rs = z[S_I * B + s], z[R_RS * B + s]
            e = z[S_E * B + s] - rs * z[R_IQ * B + s]
            need = z[R_KE * B + s] * z[O_SPEED * B + s] + (z[R_R * B + s] + z[R_RC * B + s]) * i
            inside = e * e - 4.0 * rs * i * need
            inside = 0.0 if inside < 0.0 else inside
            d = 2.0 * need / (e + math.sqrt(inside))
            z[S_D * B + s] = d if z[S_HELD * B + s] > 0.0 else z[S_D * B + s]
    for s in range(B):
        w, i, d = z[O_SPEED * B + s], z[S_I * B + s], z[S_D * B + s]
        ke, r, rs, own = z[R_KE * B + s], z[R_R * B + s], z[R_RS * B + s], z[S_E * B + s]
        bus = d * i + z[R_IQ * B + s]
        volts = own - rs * bus
        power = bus * volts
        square = w * w
        thrust = z[R_THRUST * B + s] * square * z[S_T * B + s]
        torque = z[R_TORQUE * B + s] * square * z[S_G * B + s]
        made = torque * w
        per = 1.0 / power if power > 0.0 else math.nan
        z[(O_SPEED + 1) * B + s] = i
        z[(O_SPEED + 2) * B + s] = bus
        z[(O_SPEED + 3) * B + s] = volts
        z[(O_SPEED + 4) * B + s] = ke * w + r * i
        z[(O_SPEED + 5) * B + s] = thrust
        z[(O_SPEED + 6) * B + s] = torque
        z[(O_SPEED + 7) * B + s] = d
        z[(O_SPEED + 8) * B + s] = power
        z[(O_SPEED + 9) * B + s] = made
        z[(O_SPEED + 10) * B + s] = made * per
        z[(O_SPEED + 11) * B + s] = thrust * per
        limited = z[S_HELD * B + s]
        run = z[K_RUN * B + s] if z[K_HELD * B + s] == limited else 0.0
        z[K_RUN * B + s] = (run + 1.0) * z[S_TURNS * B + s]
        z[K_HELD * B + s] = limited
        z[K_W3 * B + s] = z[K_W2 * B + s]
        z[K_W2 * B + s] = z[K_W1 * B + s]
        z[K_W1 * B + s] = w


@kernel
def sweep(
    p: Array, kept: Array, before: Array, x: Array, supply: Array, want: Indices, out: Array, flags: Flags,
    first: int, last: int,
) -> None:  # fmt: skip
    """Settled states of draws first to last at the points of a grid, after the points ``before``.

    Parameters
    ----------
    p : (N_ROW, draws) columns of `motorfit.physics.rows`
    kept : (KEPT, draws) what the draws keep, read and written; `fresh` to begin with
    before : (3,) the last three points, the latest first, NaN for none
    x : (grid,) throttle [1], 0 to 1
    supply : (1 or draws, grid) open-circuit voltage [V]
    want : (C,) which of the OUT arrays to write
    out : (C, grid, draws) written
    flags : (2, grid, draws) written: whether the current limit holds, whether it turns
    """
    z = np.empty(ROWS * B)
    at = first
    while at < last:
        n = min(B, last - at)
        for c in range(N_ROW):
            fill(z, c, p[c, at : at + n])
        for c in range(KEPT):
            fill(z, N_ROW + c, kept[c, at : at + n])
        reynolds, lifts = False, False
        for s in range(B):
            lifts = lifts or z[R_AT * B + s] != 0.0
            reynolds = reynolds or lifts or z[R_AQ * B + s] != 0.0
            z[S_G * B + s] = 1.0
        x1, x2, x3 = before[0], before[1], before[2]
        for k in range(x.shape[0]):
            fill(z, S_E, supply[at : at + n, k] if supply.shape[0] > 1 else supply[:, k])
            # weights of the last speeds in the parabola and in the line through them
            a, b, w, f, g = 0.0, 0.0, 0.0, 0.0, 0.0
            if x1 != x2:
                f, g = (x[k] - x2) / (x1 - x2), (x[k] - x1) / (x2 - x1)
                if x3 not in (x1, x2):
                    a = f * (x[k] - x3) / (x1 - x3)
                    b = g * (x[k] - x3) / (x2 - x3)
                    w = (x[k] - x1) * (x[k] - x2) / ((x3 - x1) * (x3 - x2))
            if _given(z, x[k], a, b, w, f, g) > 0:
                _cold_guess(z)
            _solve(z, reynolds)
            _tell(z, lifts)
            for c in range(want.shape[0]):
                copy(z, O_SPEED + want[c], out[c, k, at : at + n])
            limited, turning = flags[0, k, at : at + n], flags[1, k, at : at + n]
            for s in range(n):
                limited[s] = z[S_HELD * B + s] > 0.0
                turning[s] = z[S_TURNS * B + s] > 0.0
            x3, x2, x1 = x2, x1, x[k]
        for c in range(KEPT):
            copy(z, N_ROW + c, kept[c, at : at + n])
        at += n
