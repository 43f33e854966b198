"""What ideal sensors would read during a run, block by block, for several draws at once.

The forward model of one run: within a block the supply is held and the throttle moves evenly, the shaft
follows the exact step of `motorfit.physics.advance` and its linear response to what the throttle moves by,
and the block's mean of every channel is returned.  Parameters of the draws are the lanes of one array
(`motorfit.physics.slots`).
"""

from __future__ import annotations

from motorfit.compiled import kernel
from motorfit.lanes import Array, Lanes, any_of, load, same, spread, square_root, store, where
from motorfit.lanes_math import expm1, exponential
from motorfit.physics.advance import (
    advance,
    bus_current,
    current_at,
    grown,
    regime_at,
    slope_of_current,
)
from motorfit.physics.motor import COPPER_COEFFICIENT
from motorfit.physics.slots import (
    C_CURRENT,
    C_DUTY,
    C_MOTOR_CURRENT,
    C_MOTOR_VOLTAGE,
    C_SPEED,
    C_THRUST,
    C_TORQUE,
    C_WINDING_TEMPERATURE,
    P_AB,
    P_AIR,
    P_AQ,
    P_AT,
    P_AW,
    P_BRAKE,
    P_CQ,
    P_CT,
    P_DUTY_C,
    P_DUTY_E,
    P_DUTY_S,
    P_I0,
    P_I1,
    P_I2,
    P_IDLE,
    P_J,
    P_KE,
    P_KT,
    P_LIMIT,
    P_MAG,
    P_OMEGA0,
    P_R,
    P_RC,
    P_RS,
    P_SAT,
    P_SUPPLY,
    P_TB,
    P_TW,
    P_WARMTH,
    P_WREF,
)

__all__ = ["duty_lanes", "simulate_at_speed", "simulate_driven"]

_JUMP, _SWINGING, _FEW, _PIECES = 0.03, 12, 40.0, 2
"""Change of throttle [1] after which so many blocks, each of fewer samples, are taken in so many pieces."""

_WALKED = 12.5
"""Samples up to which a block in which the controller changes regime is walked one by one."""


@kernel
def duty_lanes(q: Array, throttle: float) -> Lanes:
    """Duty [1] of a throttle [1], as `motorfit.physics.regimes.duty_of`."""
    x = throttle
    if x <= 0.0:
        return spread(0.0)
    d = 1.0 - load(q, (P_DUTY_S,)) * (1.0 - x) + load(q, (P_DUTY_C,)) * (x * (1.0 - x))
    d = d + load(q, (P_DUTY_E,)) * (x * (1.0 - x) * (1.0 - 2.0 * x))
    return where(d < 0.0, 0.0, where(d > 1.0, 1.0, d))


@kernel
def _response(
    q: Array, slope: float, h: float, x: float, d: Lanes, omega: Lanes, current: Lanes, climb: Lanes,
    ke: Lanes, kt: Lanes, inverse_r: Lanes, inverse_j: Lanes, source: Lanes,
) -> tuple[Lanes, Lanes]:  # fmt: skip
    """What a throttle that rises evenly through its mean x adds to the speed [rad/s]: at the end, on average.

    The shaft's linear response y' = g (t - h/2) - λ y about its mean speed and current, where the controller
    drives.  What is left out goes with the square of the rise, `slope` [1/s] times h [s].
    """
    steep = load(q, (P_DUTY_S,)) + load(q, (P_DUTY_C,)) * (1.0 - 2.0 * x)
    steep = where((d > 0.0) & (d < 1.0), steep + load(q, (P_DUTY_E,)) * (1.0 + 6.0 * x * (x - 1.0)), 0.0)
    push = kt / (1.0 + current * current * load(q, (P_SAT,))) * inverse_j
    g = slope * steep * push * inverse_r * (source - 2.0 * d * load(q, (P_RS,)) * current)
    load_slope = push * (current - _drag(q, omega, omega * omega)) - climb
    load_slope = load_slope * (2.0 + load(q, (P_AQ,))) / where(omega > 1.0, omega, 1.0)
    rate = push * (ke * inverse_r + load(q, (P_I1,)) + 2.0 * omega * load(q, (P_I2,))) + load_slope
    rate = where(rate > 1e-3, rate, 1e-3)
    per_rate = 1.0 / rate
    gone = -expm1(-h * rate)
    late = h - (0.5 * h + per_rate) * gone
    lag = (0.5 * h + per_rate) * gone * per_rate * (1.0 / h) - per_rate
    return g * per_rate * late, g * per_rate * lag


@kernel
def _drag(q: Array, omega: Lanes, square: Lanes) -> Lanes:
    """Drag current [A] at a mean speed [rad/s] and a mean square of it."""
    return load(q, (P_I0,)) + load(q, (P_I1,)) * omega + load(q, (P_I2,)) * square


@kernel
def _variance(start: Lanes, mean: Lanes, end: Lanes) -> Lanes:
    """Variance within a block of what has this value at its start, its end, and as its mean.

    Of the parabola through them, but no more than anything between the two can have (R. Bhatia, C. Davis,
    Amer. Math. Monthly 107 (2000) 353), which a fast decay would pass.
    """
    bow = 6.0 * (0.5 * (start + end) - mean)
    smooth = (end - start) * (end - start) * (1.0 / 12.0) + bow * bow * (1.0 / 180.0)
    most = (start - mean) * (mean - end)
    most = where(most > 0.0, most, smooth)
    return where(smooth < most, smooth, most)


@kernel
def simulate_driven(
    q: Array,
    h: Array,
    throttle: Array,
    slope: Array,
    supply: Array,
    on: Array,
    samples: Array,
    freewheel: bool,
    out: Array,
) -> None:
    """Fill `out` (blocks, N_CHANNELS, LANES) with block means of an ideal log.

    Parameters
    ----------
    q : (N_PHYSICS, LANES) parameters of this run, SI
    h : (blocks,) length of each block [s]
    throttle : (blocks,) mean of the throttle over it [1];  slope : (blocks,) how fast it rises [1/s]
    supply : (blocks, LANES) open-circuit voltage of the supply [V] behind the source resistance q[P_RS] [ohm]
    on : (blocks,) share of the block in which the controller drives [1]
    samples : (blocks,) number of samples averaged.  A sample is the state at the start of its interval, so
        the mean of a block's samples sits half an interval before the mean of its time; the end values
        and slopes correct that (Euler and Maclaurin, two terms), and a block in which the controller
        changes regime is walked sample by sample
    freewheel : True when the motor carries no current at all (coasting, unplugged)
    out : (blocks, N_CHANNELS, LANES) written: A, rad/s, N, N m, A, V, °C, 1

    Heat follows the two nodes of `motorfit.physics.heat`, with constant power over a block, written in
    inverse heat capacities, which are all but zero for a motor that does not warm at all: a posterior that
    holds that possibility stays smooth through it.  What the current swings about its mean within a block
    warms too, and where it saturates gives less torque than the mean would.
    """
    omega = load(q, (P_OMEGA0,))
    air = load(q, (P_AIR,))
    t_w = t_b = air + load(q, (P_WARMTH,))
    rise_w = rise_b = climb = spread(0.0)
    limit, brake = load(q, (P_LIMIT,)), load(q, (P_BRAKE,))
    rs, idle, sat, ct = load(q, (P_RS,)), load(q, (P_IDLE,)), load(q, (P_SAT,)), load(q, (P_CT,))
    reach = limit / where(brake > 1e-6, brake, 1e-6)
    bent = any_of(~same(load(q, (P_AT,)), 0.0) & ~same(ct, 0.0))
    per_tw, per_tb = 1.0 / load(q, (P_TW,)), 1.0 / load(q, (P_TB,))
    slope_w, slope_b = load(q, (P_AW,)), load(q, (P_AB,))
    # of the heat's equations d/dt (T_w, T_b): what passes between the nodes, and their two rates [1/s]
    back = slope_b / where(slope_w > 0.0, slope_w, 1e9) * per_tw
    half = 0.5 * (back + per_tb - per_tw)
    apart = square_root(half * half + per_tw * back)
    slowest = apart - 0.5 * (per_tw + back + per_tb)
    above_w, above_b = slope_w * load(q, (P_TW,)), slope_b * load(q, (P_TB,))
    inverse_j = 1.0 / load(q, (P_J,))
    saturates = any_of(sat > 0.0)
    since = 0
    last_h = -1.0
    keep_w = keep_b = to_w = to_b = spread(1.0)
    for k in range(h.shape[0]):
        # temperatures in the middle of the block, as they have been rising [K/s]
        begin_w, begin_b = t_w, t_b
        ahead_s = 0.5 * (min(h[k], 4.0 * h[k - 1]) if k > 0 else h[k])  # not far into a gap of the log
        t_w, t_b = t_w + ahead_s * rise_w, t_b + ahead_s * rise_b
        f = 1.0 - load(q, (P_MAG,)) * (t_b - 25.0)
        ke_hot, kt = load(q, (P_KE,)) * f, load(q, (P_KT,)) * f
        ke = ke_hot
        r_w = load(q, (P_R,)) * (1.0 + COPPER_COEFFICIENT * (t_w - 25.0))
        rt = r_w + load(q, (P_RC,))
        d = duty_lanes(q, throttle[k])
        driven = (not freewheel) and on[k] > 0.0
        source = load(supply, (k,)) - rs * idle
        u = d * source
        source = where(source > 1.0, source, 1.0)
        r_all = (rt + d * d * rs) * (1.0 / on[k] if driven else 1.0)
        both = 1.0 / (r_all * ke)
        inverse_r, inverse_ke = both * ke, both * r_all
        zero = u * inverse_ke
        low = (u - r_all * limit) * inverse_ke
        high = (u + r_all * reach) * inverse_ke
        if not driven:  # no current: an infinite resistance with nothing behind it
            u, ke, inverse_r = spread(0.0), spread(0.0), spread(1e-12)
            zero, low, high = spread(1e12), spread(-1e12), spread(1e12)
        start = omega
        first = regime_at(start, low, zero, high)
        # as it went in the block before, where the throttle did not jump
        guess = climb * h[k] if k > 0 and abs(throttle[k] - throttle[k - 1]) < _JUMP else spread(0.0)
        # current swings far after a jump: saturation takes smaller steps there
        since = since + 1 if k > 0 and abs(throttle[k] - throttle[k - 1]) < _JUMP else 0
        pieces = _PIECES if saturates and driven and since < _SWINGING and 3.5 < samples[k] < _FEW else 1
        part = spread(h[k] / pieces)
        omega, area, charge, flow, regime, switched, rise, end_rise = advance(
            q, start, part, guess * (1.0 / pieces), first, d, u, ke, kt, rt, inverse_r, inverse_j, low, zero,
            high, source,
        )  # fmt: skip
        for _ in range(pieces - 1):
            omega, more, charged, flown, after, crossed, _rise, end_rise = advance(
                q, omega, part, spread(0.0), regime, d, u, ke, kt, rt, inverse_r, inverse_j, low, zero, high,
                source,
            )  # fmt: skip
            area, charge, flow = area + more, charge + charged, flow + flown
            regime, switched = after, switched | crossed
        per_h = 1.0 / h[k]
        mean_w, mean_i = area * per_h, charge * per_h
        if driven and slope[k] != 0.0:
            late, lag = _response(
                q, slope[k], h[k], throttle[k], d, mean_w, mean_i, (omega - start) * per_h, ke, kt, inverse_r,
                inverse_j, source,
            )  # fmt: skip
            follows = same(first, 1.0) & same(regime, 1.0) & ~switched & (mean_w > 0.0)
            late, lag = where(follows, late, 0.0), where(follows, lag, 0.0)
            lost = ke * inverse_r * lag
            omega, mean_w, mean_i, flow = omega + late, mean_w + lag, mean_i - lost, flow - d * lost * h[k]
        gained = omega - start
        climb = gained * per_h
        mean_w2 = mean_w * mean_w + gained * gained * (1.0 / 12.0)
        m = samples[k]
        i_start = current_at(q, first, start, u, ke, inverse_r)
        b_start = bus_current(q, first, start, i_start, d, ke, rt, source)
        i_end = current_at(q, regime, omega, u, ke, inverse_r)
        swing = _variance(i_start, mean_i, i_end)
        sample_w, sample_w2, sample_i, sample_b = start, start * start, i_start, b_start
        swung = spread(0.0)
        if m >= 1.5:
            early = 0.5 / m
            swung = swing * (1.0 - 1.0 / (m * m))
            bend = where(switched, 0.0, h[k] / (12.0 * m * m))
            b_end = bus_current(q, regime, omega, i_end, d, ke, rt, source)
            pull = slope_of_current(q, regime, ke, inverse_r)
            bent_rise = bend * (end_rise - rise)
            sample_w = mean_w - gained * early + bent_rise
            sample_w2 = mean_w2 - (omega * omega - start * start) * early
            sample_w2 = sample_w2 + 2.0 * bend * (omega * end_rise - start * rise)
            sample_i = mean_i - (i_end - i_start) * early - pull * bent_rise
            sample_b = flow * per_h - (b_end - b_start) * early
            driving = same(regime, 1.0)
            turned = d * pull * bent_rise
            if any_of(~driving):  # the derivative by speed of the power that the controller passes on
                after = i_end * ke - pull * (ke * omega + 2.0 * rt * i_end)
                ahead = i_start * ke - pull * (ke * start + 2.0 * rt * i_start)
                passed = bend * (after * end_rise - ahead * rise) / (source - 2.0 * rs * b_end)
                turned = where(driving, turned, -passed)
            sample_b = sample_b - turned
            if m < _WALKED and any_of(switched):
                n = int(m + 0.5)
                w_sum, w2_sum, i_sum, b_sum = start, start * start, i_start, b_start
                x, at = start, first
                for _ in range(n - 1):
                    x, _a, _c, _f, at, _s, _r, _e = advance(
                        q,
                        x,
                        spread(h[k] / n),
                        spread(0.0),
                        at,
                        d,
                        u,
                        ke,
                        kt,
                        rt,
                        inverse_r,
                        inverse_j,
                        low,
                        zero,
                        high,
                        source,
                    )
                    i_x = current_at(q, at, x, u, ke, inverse_r)
                    w_sum, w2_sum, i_sum = w_sum + x, w2_sum + x * x, i_sum + i_x
                    b_sum = b_sum + bus_current(q, at, x, i_x, d, ke, rt, source)
                sample_w = where(switched, w_sum * (1.0 / n), sample_w)
                sample_w2 = where(switched, w2_sum * (1.0 / n), sample_w2)
                sample_i = where(switched, i_sum * (1.0 / n), sample_i)
                sample_b = where(switched, b_sum * (1.0 / n), sample_b)
        thrust = ct * sample_w2
        if bent:
            thrust = thrust * grown(sample_w, load(q, (P_WREF,)), load(q, (P_AT,)))
        softened = 1.0 / (1.0 + sample_i * sample_i * sat)
        torque = kt * softened * (sample_i - _drag(q, sample_w, sample_w2))
        less = sat * sample_i * swung * softened * softened * softened * (3.0 - sat * sample_i * sample_i)
        torque = torque - kt * less
        # at rest friction answers whatever the current asks, up to breaking away: nothing reaches the stand
        torque = where((start > 0.0) | (omega > 0.0), torque, 0.0)
        store(out, (k, C_CURRENT), sample_b + idle if driven else sample_b)
        store(out, (k, C_SPEED), sample_w)
        store(out, (k, C_THRUST), thrust)
        store(out, (k, C_TORQUE), torque)
        store(out, (k, C_MOTOR_CURRENT), sample_i)
        store(out, (k, C_MOTOR_VOLTAGE), ke_hot * sample_w + r_w * sample_i)
        store(out, (k, C_WINDING_TEMPERATURE), t_w)
        store(out, (k, C_DUTY), d)
        if h[k] != last_h:  # how far from rest under constant power the nodes still are at the block's end
            slow, gone = exponential(slowest * h[k]), expm1(-2.0 * apart * h[k])
            even, odd = slow * (1.0 + 0.5 * gone), -0.5 * slow * gone / apart
            keep_w, keep_b = even + odd * half, even - odd * half
            to_w, to_b = odd * per_tw, odd * back
            last_h = h[k]
        copper = (mean_i * mean_i + swing) * r_w
        iron = kt * _drag(q, mean_w, mean_w2) * mean_w
        rest_b = air + (copper + iron) * above_b
        rest_w = rest_b + copper * above_w
        off_w, off_b = begin_w - rest_w, begin_b - rest_b
        t_w = rest_w + keep_w * off_w + to_w * off_b
        t_b = rest_b + to_b * off_w + keep_b * off_b
        rise_w, rise_b = (t_w - begin_w) * per_h, (t_b - begin_b) * per_h


@kernel
def simulate_at_speed(q: Array, omega: Array, slope: Array, voltage: Array, out: Array) -> None:
    """Fill `out` with what ideal sensors read at given speeds.

    For tables, and for logs without throttle or voltage.

    Parameters
    ----------
    q : (N_PHYSICS, LANES) parameters
    omega : (rows, LANES) shaft speed [rad/s]
    slope : (rows,) its rate of change [rad/s²]
    voltage : (rows, LANES) bus voltage [V]; NaN where not logged, then q[P_SUPPLY] stands for it
    out : (rows, N_CHANNELS, LANES) written; C_DUTY is the duty that power balance asks for

    Bus current follows from power balance, V_b (I_b - I_q) = I_m (K_e ω + (R + R_c) I_m), whatever the duty.
    """
    air, reference = load(q, (P_AIR,)), load(q, (P_WREF,))
    f = 1.0 - load(q, (P_MAG,)) * (air - 25.0)
    r_w = load(q, (P_R,)) * (1.0 + COPPER_COEFFICIENT * (air - 25.0))
    rt = r_w + load(q, (P_RC,))
    ke, per_kt = load(q, (P_KE,)) * f, 1.0 / (load(q, (P_KT,)) * f)
    for k in range(omega.shape[0]):
        w = load(omega, (k,))
        w = where(w > 0.0, w, 0.0)
        thrust = load(q, (P_CT,)) * w * w * grown(w, reference, load(q, (P_AT,)))
        shaft = load(q, (P_CQ,)) * w * w * grown(w, reference, load(q, (P_AQ,))) + load(q, (P_J,)) * slope[k]
        drag = where(w > 0.0, _drag(q, w, w * w), 0.0)
        i_m = shaft * per_kt + drag
        for _ in range(3):
            i_m = shaft * (1.0 + i_m * i_m * load(q, (P_SAT,))) * per_kt + drag
        v = load(voltage, (k,))
        v = where(same(v, v), v, load(q, (P_SUPPLY,)))
        need = ke * w + rt * i_m
        store(out, (k, C_CURRENT), i_m * need / v + load(q, (P_IDLE,)))
        store(out, (k, C_SPEED), w)
        store(out, (k, C_THRUST), thrust)
        store(out, (k, C_TORQUE), shaft)
        store(out, (k, C_MOTOR_CURRENT), i_m)
        store(out, (k, C_MOTOR_VOLTAGE), ke * w + r_w * i_m)
        store(out, (k, C_WINDING_TEMPERATURE), air)
        store(out, (k, C_DUTY), need / v)
