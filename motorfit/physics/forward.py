"""What ideal sensors would read during a run, block by block.

The forward model of one run for one set of parameters: within a block throttle and supply are held, the shaft
follows the exact Riccati step, and the block's mean of every channel is returned.  The regimes of the
controller (current limit, drive, braking, braking limit) meet at known speeds, so a block that crosses from
one to another is split at the closed-form crossing time and stays exact.

Parameters travel as one flat vector per run (`P_*` below are its slots): compiled code then touches plain
arrays only, and a batch of draws is one contiguous array.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from motorfit.compiled import kernel
from motorfit.physics.motor import COPPER_COEFFICIENT
from motorfit.physics.transient import riccati_step, riccati_time_to

Array = npt.NDArray[np.float64]

# fmt: off
(P_KE, P_KT, P_R, P_RC, P_I0, P_I1, P_I2, P_SAT, P_J, P_BRAKE, P_LIMIT,
 P_DUTY_S, P_DUTY_C, P_DUTY_E, P_IDLE, P_CT, P_CQ, P_AT, P_AQ, P_WREF,
 P_AW, P_TW, P_AB, P_TB, P_MAG, P_AIR, P_OMEGA0, P_RS, P_SUPPLY, P_WARMTH) = range(30)
# fmt: on
N_PHYSICS = 30

(
    C_CURRENT,
    C_SPEED,
    C_THRUST,
    C_TORQUE,
    C_MOTOR_CURRENT,
    C_MOTOR_VOLTAGE,
    C_WINDING_TEMPERATURE,
    C_DUTY,
) = range(8)
N_CHANNELS = 8

MODE_DRIVEN, MODE_FREEWHEEL, MODE_AT_SPEED = 0, 1, 2


@kernel
def duty_of(throttle: float, s: float, c: float, e: float) -> float:
    """Duty [1] of a throttle [1]: affine with curvature and skew, 1 at full throttle, clipped to 0..1.

    0 at no throttle, where a controller does not drive whatever its map.
    """
    x = throttle
    if x <= 0.0:
        return 0.0
    d = 1.0 - s * (1.0 - x) + c * x * (1.0 - x) + e * x * (1.0 - x) * (1.0 - 2.0 * x)
    return min(max(d, 0.0), 1.0)


@kernel
def current_in(
    regime: int, omega: float, u: float, ke: float, rt: float, limit: float, brake: float
) -> float:
    """Motor current [A] in a regime: 0 limited, 1 driving, 2 braking, 3 braking limited."""
    if regime == 0:
        return limit
    if regime == 3:
        return -limit
    ideal = (u - ke * omega) / rt
    return ideal if regime == 1 else brake * ideal


@kernel
def regime_of(omega: float, low: float, zero: float, high: float) -> int:
    """Regime at a speed [rad/s], as in `current_in`; `low`, `zero`, `high` are the speeds where they meet."""
    if omega < low:
        return 0
    if omega <= zero:
        return 1
    return 2 if omega <= high else 3


@kernel
def _heat(
    p: Array, t_w: float, t_b: float, stored: float, h: float, copper: float, iron: float
) -> tuple[float, float, float]:
    """Two-node step of `motorfit.physics.heat`, implicit.

    Returns (winding [°C], body [°C], heat stored [J]).  Written in inverse heat capacities, which are zero
    for a motor that does not warm at all: a posterior that holds that possibility stays smooth through it.
    `stored` is the winding's excess heat, from which the body draws.
    """
    stored = (stored + h * copper) / (1.0 + h / p[P_TW])
    t_b = (t_b + h * (p[P_AB] * (iron + stored / p[P_TW]) + p[P_AIR] / p[P_TB])) / (1.0 + h / p[P_TB])
    t_w = (t_w + h * (p[P_AW] * copper + t_b / p[P_TW])) / (1.0 + h / p[P_TW])
    return t_w, t_b, stored


@kernel
def _from_power(power: float, source: float, rs: float) -> float:
    """Current [A] of a source [V] behind a resistance [ohm] that gives a power [W]: I (E - R_s I) = P."""
    return 2.0 * power / (source + math.sqrt(max(source * source - 4.0 * rs * power, 0.0)))


@kernel
def _bus_current(
    regime: int, omega: float, i_m: float, d: float, ke: float, rt: float, source: float, rs: float
) -> float:
    """Bus current less idle [A]: by duty when driving, by power balance when the controller limits."""
    if regime == 1:
        return d * i_m
    return _from_power(i_m * (ke * omega + rt * i_m), source, rs)


@kernel
def _log_ratio(omega: float, near: float) -> float:
    """ln(ω/near) of speeds [rad/s] not below 1 rad/s; by its series, which is cheaper, where they are
    close."""
    x = (max(omega, 1.0) - near) / near
    if abs(x) < 0.02:
        return x * (1.0 - x * (0.5 - x * (1.0 / 3.0 - x * (0.25 - 0.2 * x))))
    return math.log1p(x)


@kernel
def _advance(
    p: Array, omega: float, h: float, regime: int, d: float, u: float, ke: float, kt: float, rt: float,
    r_all: float, low: float, zero: float, high: float, source: float,
) -> tuple[float, float, float, float, int, bool, float, float]:  # fmt: skip
    """One step with throttle, supply and temperatures held, split exactly where the regime changes.

    Returns (speed at the end [rad/s], its integral [rad], motor charge [A s], bus charge less idle [A s],
    regime at the end, whether it changed, acceleration at the start and at the end [rad/s²]).
    """
    inertia, limit, brake = p[P_J], p[P_LIMIT], p[P_BRAKE]
    i0, i1, i2, sat, cq, aq = p[P_I0], p[P_I1], p[P_I2], p[P_SAT], p[P_CQ], p[P_AQ]
    area = charge = bus = 0.0
    omega_at = max(omega, 1.0)
    log_at = math.log(omega_at / p[P_WREF]) if cq != 0.0 else 0.0
    inverse_r, inverse_j = 1.0 / r_all, 1.0 / inertia
    left = h
    switched = False
    first_slope = last_slope = 0.0
    for piece in range(8):
        now = current_in(regime, omega, u, ke, r_all, limit, brake)
        alpha, beta = now, 0.0
        if regime == 1:
            alpha, beta = u * inverse_r, ke * inverse_r
        elif regime == 2:
            alpha, beta = brake * u * inverse_r, brake * ke * inverse_r
        at, trial = omega, now
        nxt, part, step = omega, 0.0, left
        turn, target = 0, 0.0
        for again in range(2):
            kt_eff = kt / (1.0 + trial * trial * sat)
            load = cq
            if aq != 0.0 and cq != 0.0:
                load = cq * math.exp(aq * (log_at + _log_ratio(at, omega_at)))
            a = kt_eff * (alpha - i0) * inverse_j
            b = kt_eff * (beta + i1) * inverse_j
            c = (kt_eff * i2 + load) * inverse_j
            slope = a - b * omega - c * omega * omega
            step, turn = left, 0
            if omega <= 0.0 and slope <= 0.0:
                nxt, part = 0.0, 0.0
                break
            nxt, part = riccati_step(omega, a, b, c, left)
            if nxt < 0.0:
                nxt, part = 0.0, max(part, 0.0)
            if slope > 0.0 and regime < 3:
                target = low if regime == 0 else zero if regime == 1 else high
                turn = 1 if nxt > target else 0
            elif slope < 0.0 and regime > 0:
                target = low if regime == 1 else zero if regime == 2 else high
                turn = -1 if nxt < target else 0
            if turn != 0:
                reach = riccati_time_to(omega, target, a, b, c)
                if reach < left:
                    step = reach
                    nxt, part = riccati_step(omega, a, b, c, step)
                else:
                    turn = 0
            if again == 1:
                break
            then = current_in(regime, nxt, u, ke, r_all, limit, brake)
            if abs(nxt - omega) < 0.02 * (omega + nxt) and sat * abs(then * then - now * now) < 0.002:
                break
            at = 0.5 * (omega + nxt)
            trial = 0.5 * (now + then)
        flow = alpha * step - beta * part
        if regime == 1:
            bus += d * flow
        elif step > 0.0:
            mean_i, mean_w = flow / step, part / step
            spread = (nxt - omega) * (nxt - omega) / 12.0
            power = mean_i * (ke * mean_w + rt * mean_i) + spread * beta * (rt * beta - ke)
            bus += _from_power(power, source, p[P_RS]) * step
        if piece == 0:
            first_slope = slope
        last_slope = 0.0 if nxt <= 0.0 else a - b * nxt - c * nxt * nxt
        charge += flow
        area += part
        omega = nxt
        left -= step
        if turn == 0 or left <= 0.0:
            break
        omega = target
        regime += turn
        switched = True
    return omega, area, charge, bus, regime, switched, first_slope, last_slope


@kernel
def simulate_driven(
    p: Array,
    h: Array,
    throttle: Array,
    supply: Array,
    on: Array,
    samples: Array,
    freewheel: bool,
    out: Array,
) -> None:
    """Fill `out` (blocks, N_CHANNELS) with block means of an ideal log.

    Parameters
    ----------
    p : (N_PHYSICS,) parameters of this run, SI (see `P_*`)
    h : (blocks,) length of each block [s]
    throttle : (blocks,) throttle held over it [1]
    supply : (blocks,) open-circuit voltage of the supply [V] behind the source resistance p[P_RS] [ohm]
    on : (blocks,) share of the block in which the controller drives [1]
    samples : (blocks,) number of samples averaged.  A sample is the state at the start of its interval, so
        the mean of a block's samples sits half an interval before the mean of its time; the end values
        and slopes correct that (Euler and Maclaurin, two terms), and a block in which the controller
        changes regime is walked sample by sample
    freewheel : True when the motor carries no current at all (coasting, unplugged)
    out : (blocks, N_CHANNELS) written: A, rad/s, N, N m, A, V, °C, 1
    """
    omega = p[P_OMEGA0]
    t_w = t_b = p[P_AIR] + p[P_WARMTH]
    i0, i1, i2, sat, rs = p[P_I0], p[P_I1], p[P_I2], p[P_SAT], p[P_RS]
    limit, brake = p[P_LIMIT], p[P_BRAKE]
    stored = log_w = near_w = rise_w = rise_b = 0.0
    for k in range(h.shape[0]):
        # temperatures in the middle of the block, as they have been rising [K/s]
        begin_w, begin_b = t_w, t_b
        ahead_s = 0.5 * (min(h[k], 4.0 * h[k - 1]) if k > 0 else h[k])  # not far into a gap of the log
        t_w, t_b = t_w + ahead_s * rise_w, t_b + ahead_s * rise_b
        f = 1.0 - p[P_MAG] * (t_b - 25.0)
        ke_hot, kt = p[P_KE] * f, p[P_KT] * f
        ke = ke_hot
        r_w = p[P_R] * (1.0 + COPPER_COEFFICIENT * (t_w - 25.0))
        rt = r_w + p[P_RC]
        d = duty_of(throttle[k], p[P_DUTY_S], p[P_DUTY_C], p[P_DUTY_E])
        driven = (not freewheel) and on[k] > 0.0
        source = max(supply[k] - rs * p[P_IDLE], 1.0)
        if driven:
            r_all = (rt + d * d * rs) / on[k]
            u = d * (supply[k] - rs * p[P_IDLE])
            zero = u / ke
            low = (u - r_all * limit) / ke
            high = (u + r_all * limit / max(brake, 1e-6)) / ke
        else:  # no current: an infinite resistance with nothing behind it
            r_all, u, ke, zero, low, high = 1e12, 0.0, 0.0, 1e12, -1e12, 1e12
        regime = regime_of(omega, low, zero, high)
        start, first_regime = omega, regime
        i_start = current_in(regime, omega, u, ke, r_all, limit, brake)
        omega, area, charge, flow, regime, switched, rise, end_rise = _advance(
            p, start, h[k], regime, d, u, ke, kt, rt, r_all, low, zero, high, source
        )
        mean_w, mean_i = area / h[k], charge / h[k]
        mean_w2 = mean_w * mean_w + (omega - start) * (omega - start) / 12.0
        m = samples[k]
        if m < 1.5 or (switched and m < 40.5):
            w_sum = w2_sum = i_sum = b_sum = 0.0
            x, reg, n = start, first_regime, int(m + 0.5)
            for j in range(n):
                i_x = current_in(reg, x, u, ke, r_all, limit, brake)
                w_sum += x
                w2_sum += x * x
                i_sum += i_x
                b_sum += _bus_current(reg, x, i_x, d, ke, rt, source, rs)
                if j < n - 1:
                    x, _, _, _, reg, _, _, _ = _advance(
                        p, x, h[k] / n, reg, d, u, ke, kt, rt, r_all, low, zero, high, source
                    )
            sample_w, sample_w2, sample_i, sample_b = w_sum / n, w2_sum / n, i_sum / n, b_sum / n
        else:
            half = 0.5 / m
            bend = 0.0 if switched else h[k] / (12.0 * m * m)
            i_end = current_in(regime, omega, u, ke, r_all, limit, brake)
            pull = 0.0  # of speed on current [A s/rad], its sign turned
            if regime == 1 or regime == 2:
                pull = ke / r_all if regime == 1 else brake * ke / r_all
            sample_w = mean_w - (omega - start) * half + bend * (end_rise - rise)
            sample_w2 = mean_w2 - (omega * omega - start * start) * half
            sample_w2 += 2.0 * bend * (omega * end_rise - start * rise)
            sample_i = mean_i - (i_end - i_start) * half - pull * bend * (end_rise - rise)
            b_end = _bus_current(regime, omega, i_end, d, ke, rt, source, rs)
            b_start = _bus_current(first_regime, start, i_start, d, ke, rt, source, rs)
            sample_b = flow / h[k] - (b_end - b_start) * half
            if regime == 1:
                sample_b -= d * pull * bend * (end_rise - rise)
            else:  # the derivative by speed of the power that the controller passes on
                after = i_end * ke - pull * (ke * omega + 2.0 * rt * i_end)
                ahead = i_start * ke - pull * (ke * start + 2.0 * rt * i_start)
                sample_b += bend * (after * end_rise - ahead * rise) / (source - 2.0 * rs * b_end)
        idle = p[P_IDLE] if driven else 0.0
        grow = 1.0
        if p[P_CT] != 0.0 and p[P_AT] != 0.0:
            near = max(mean_w, 1.0)
            log_w = log_w + _log_ratio(near, near_w) if near_w > 0.0 else math.log(near / p[P_WREF])
            near_w = near
            grow = math.exp(p[P_AT] * log_w)
        drag = i0 + i1 * sample_w + i2 * sample_w2
        out[k, C_CURRENT] = sample_b + idle
        out[k, C_SPEED] = sample_w
        out[k, C_THRUST] = p[P_CT] * grow * sample_w2
        # at rest friction answers whatever the current asks, up to breaking away: nothing reaches the stand
        turning = start > 0.0 or omega > 0.0
        out[k, C_TORQUE] = kt / (1.0 + sample_i * sample_i * sat) * (sample_i - drag) if turning else 0.0
        out[k, C_MOTOR_CURRENT] = sample_i
        out[k, C_MOTOR_VOLTAGE] = ke_hot * sample_w + r_w * sample_i
        out[k, C_WINDING_TEMPERATURE] = t_w
        out[k, C_DUTY] = d
        iron = kt * (i0 + i1 * mean_w + i2 * mean_w2) * mean_w
        t_w, t_b, stored = _heat(p, begin_w, begin_b, stored, h[k], mean_i * mean_i * r_w, iron)
        rise_w, rise_b = (t_w - begin_w) / h[k], (t_b - begin_b) / h[k]


@kernel
def simulate_at_speed(p: Array, omega: Array, slope: Array, voltage: Array, out: Array) -> None:
    """Fill `out` with what ideal sensors read at given speeds.

    For tables, and for logs without throttle or voltage.

    Parameters
    ----------
    p : (N_PHYSICS,) parameters
    omega : (rows,) shaft speed [rad/s]
    slope : (rows,) its rate of change [rad/s²]
    voltage : (rows,) bus voltage [V]; NaN where not logged, then p[P_SUPPLY] stands for it
    out : (rows, N_CHANNELS) written; C_DUTY is the duty that power balance asks for

    Bus current follows from power balance, V_b (I_b - I_q) = I_m (K_e ω + (R + R_c) I_m), whatever the duty.
    """
    f = 1.0 - p[P_MAG] * (p[P_AIR] - 25.0)
    r_w = p[P_R] * (1.0 + COPPER_COEFFICIENT * (p[P_AIR] - 25.0))
    ke, kt = p[P_KE] * f, p[P_KT] * f
    for k in range(omega.shape[0]):
        w = max(omega[k], 0.0)
        ratio = max(w, 1.0) / p[P_WREF]
        thrust = p[P_CT] * w * w * math.exp(p[P_AT] * math.log(ratio))
        shaft = p[P_CQ] * w * w * math.exp(p[P_AQ] * math.log(ratio)) + p[P_J] * slope[k]
        drag = p[P_I0] + p[P_I1] * w + p[P_I2] * w * w if w > 0.0 else 0.0
        i_m = shaft / kt + drag
        for _ in range(3):
            i_m = shaft * (1.0 + i_m * i_m * p[P_SAT]) / kt + drag
        v = voltage[k] if voltage[k] == voltage[k] else p[P_SUPPLY]
        need = ke * w + (r_w + p[P_RC]) * i_m
        out[k, C_CURRENT] = i_m * need / v + p[P_IDLE]
        out[k, C_SPEED] = w
        out[k, C_THRUST] = thrust
        out[k, C_TORQUE] = shaft
        out[k, C_MOTOR_CURRENT] = i_m
        out[k, C_MOTOR_VOLTAGE] = ke * w + r_w * i_m
        out[k, C_WINDING_TEMPERATURE] = p[P_AIR]
        out[k, C_DUTY] = need / v
