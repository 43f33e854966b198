"""How long a shaft takes from one speed to another after the throttle has jumped.

The equation of motion holds no time, J dω/dt = Q(ω) - Q_p(ω), so the time between two speeds is the integral
of dω/(dω/dt). The way is cut into short spans of speed, and each span takes the time that the closed form of
`motorfit.physics.transient` gives. Spans end where the controller changes regime (current limit, drive,
braking, braking limit: `motorfit.physics.regimes`), so the result is exact but for the saturation and the
Reynolds exponent. These are held at the middle of each span, and what that leaves out of the integral is put
back by Simpson's rule. Walking in speed needs no step size and meets the marks at 10 and 90 % as they come.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.compiled import kernel
from motorfit.physics.drive import Drive, Load
from motorfit.physics.regimes import current_in, duty_of, regime_of
from motorfit.physics.rows import (
    N_ROW,
    R_AQ,
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
    R_TORQUE,
    rows_of,
    shared_out,
)
from motorfit.physics.transient import riccati_step, riccati_time_to
from motorfit.physics.values import PhysicsError, require_between

__all__ = ["SpeedChange", "speed_change"]

Array = NDArray[np.float64]

R_J, R_BRAKE, R_VOLTS, R_FROM, R_TO = range(N_ROW, N_ROW + 5)

FIRST_MARK, LAST_MARK = 0.1, 0.9
"""Shares of the way between which its time is taken."""

_BEFORE, _BETWEEN = 3, 16
_TAIL = 1.0 - 0.1 * 0.6 ** np.arange(1, 19)  # beyond the last mark, ever closer to the end


@dataclass(frozen=True, slots=True)
class SpeedChange:
    """The way from one speed to another, each (draws,); NaN where the shaft does not get there.

    Attributes
    ----------
    time : from 10 to 90 % of the way [s];  from_command : from the jump of the throttle to 90 % [s]
    peak : largest rate of change on that way, as a size [rad/s²]
    speed : at the times asked for, (draws, times) [rad/s]
    """

    time: Array
    from_command: Array
    peak: Array
    speed: Array


@kernel
def _coefficients(q: Array, w: float, regime: int, u: float, r_all: float) -> tuple[float, float, float]:
    """a, b, c of dω/dt = a - b ω - c ω², saturation and Reynolds factor held at a speed [rad/s]."""
    i = current_in(regime, w, u, q[R_KE], r_all, q[R_LIMIT], q[R_BRAKE])
    alpha, beta = i, 0.0
    if regime == 1:
        alpha, beta = u / r_all, q[R_KE] / r_all
    elif regime == 2:
        alpha, beta = q[R_BRAKE] * u / r_all, q[R_BRAKE] * q[R_KE] / r_all
    kt = q[R_KT] / (1.0 + i * i * q[R_SAT])
    load = q[R_TORQUE]
    if load != 0.0 and q[R_AQ] != 0.0:
        load *= math.exp(q[R_AQ] * (math.log(max(w, 1e-6)) - q[R_LOG_REF]))
    return (
        kt * (alpha - q[R_I0]) / q[R_J],
        kt * (beta + q[R_I1]) / q[R_J],
        (kt * q[R_I2] + load) / q[R_J],
    )


@kernel
def _walk(
    p: Array, throttle: float, shares: Array, first: int, last: int, marks: Array, times: Array, speed: Array
) -> None:
    """Draws first to last; marks (draws, 3): time at 10 % and 90 %, peak rate; speed (draws, times)."""
    for s in range(first, last):
        q = p[s]
        d = duty_of(throttle, q[R_DUTY_S], q[R_DUTY_C], q[R_DUTY_E])
        r_all = q[R_R] + q[R_RC] + d * d * q[R_RS]
        u = d * (q[R_VOLTS] - q[R_RS] * q[R_IQ])
        zero = u / q[R_KE]
        low = (u - r_all * q[R_LIMIT]) / q[R_KE]
        high = (u + r_all * q[R_LIMIT] / max(q[R_BRAKE], 1e-6)) / q[R_KE]
        way = q[R_TO] - q[R_FROM]
        direction = 1.0 if way > 0.0 else -1.0
        w, t, peak, k = q[R_FROM], 0.0, 0.0, 0
        moves = abs(way) > 1e-9 * max(abs(q[R_FROM]), abs(q[R_TO]))
        for n in range(1, shares.shape[0]):
            if not moves:
                t = math.nan
                break
            goal = q[R_FROM] + shares[n] * way
            for _ in range(5):  # a span meets at most the three borders
                end = goal
                for border in (low, zero, high):
                    if (border - w) * direction > 1e-9 * abs(way) and (end - border) * direction > 0.0:
                        end = border
                middle = 0.5 * (w + end)
                regime = regime_of(middle, low, zero, high)
                a, b, c = _coefficients(q, middle, regime, u, r_all)
                held = riccati_time_to(w, end, a, b, c)
                took = held
                for at in (w, end):
                    a0, b0, c0 = _coefficients(q, at, regime, u, r_all)
                    rate = a0 - b0 * at - c0 * at * at
                    took += (end - w) / 6.0 * (1.0 / rate - 1.0 / (a - b * at - c * at * at))
                    if shares[n] <= LAST_MARK + 1e-9:
                        peak = max(peak, direction * rate)
                if not 0.0 < took < math.inf:
                    moves = False
                    t = math.nan
                    break
                while k < times.shape[0] and times[k] <= t + took:
                    speed[s, k], _ = riccati_step(w, a, b, c, max(times[k] - t, 0.0) * held / took)
                    k += 1
                t += took
                w = end
                if end == goal:
                    break
            if abs(shares[n] - FIRST_MARK) < 1e-9:
                marks[s, 0] = t
            if abs(shares[n] - LAST_MARK) < 1e-9:
                marks[s, 1] = t
        if t != t and marks[s, 1] == 0.0:
            marks[s, 0] = marks[s, 1] = math.nan
        marks[s, 2] = peak if marks[s, 1] == marks[s, 1] else math.nan
        for left in range(k, times.shape[0]):
            speed[s, left] = q[R_TO] if marks[s, 1] == marks[s, 1] else math.nan


def speed_change(
    throttle: float,
    supply_voltage: ArrayLike,
    drive: Drive,
    load: Load | None,
    *,
    inertia: ArrayLike,
    braking_share: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    times: ArrayLike = (),
) -> SpeedChange:
    """From a speed to the one at which the shaft settles, after the throttle has jumped.

    Parameters
    ----------
    throttle : the new one [1]
    supply_voltage : open-circuit voltage of the supply [V], a number or (draws,)
    drive, load : motor, controller and source resistance; propeller, or None for a bare shaft
    inertia : of all that turns [kg m²], a number or (draws,)
    braking_share : share of the ideal braking current that flows [1], 0 to 1
    start, end : speed at the jump, and where it settles (`operating_points`) [rad/s], numbers or (draws,)
    times : after the jump, rising [s], at which the speed is wanted; beyond what is walked it is the end's

    Raises
    ------
    PhysicsError : for values that are negative or no numbers, or draws of unequal number
    """
    require_between("throttle", throttle, 0.0, 1.0, "(1)", "Give throttle as a share of full, 0.5 for 50 %.")
    for name, value, low, high, unit in (
        ("supply voltage", supply_voltage, math.ulp(0.0), 1e4, "V"),
        ("inertia", inertia, math.ulp(0.0), 1e3, "kg m²"),
        ("braking share", braking_share, 0.0, 1.0, "(1)"),
        ("start speed", start, 0.0, 1e6, "rad/s"),
        ("end speed", end, 0.0, 1e6, "rad/s"),
    ):
        require_between(name, np.asarray(value, dtype=np.float64), low, high, unit, "Check the draws.")
    at = np.atleast_1d(np.asarray(times, dtype=np.float64))
    if at.ndim != 1 or not np.isfinite(at).all() or (np.diff(at) < 0.0).any() or (at < 0.0).any():
        raise PhysicsError("times must rise from 0 or later, in seconds; sort them.")
    p = rows_of(drive, load, inertia, braking_share, supply_voltage, start, end)
    shares = [np.linspace(0.0, FIRST_MARK, _BEFORE + 1), np.linspace(FIRST_MARK, LAST_MARK, _BETWEEN + 1)[1:]]
    way = np.concatenate([*shares, _TAIL] if at.size else shares)
    marks, speed = np.zeros((p.shape[0], 3)), np.empty((p.shape[0], at.size))
    shared_out(
        lambda a, b: _walk(p, float(throttle), way, a, b, marks, at, speed), p.shape[0], way.size + at.size
    )
    return SpeedChange(
        time=marks[:, 1] - marks[:, 0], from_command=marks[:, 1], peak=marks[:, 2], speed=speed
    )
