"""A shaft through one step with throttle, supply and temperatures held, for several draws at once.

The step is the exact one of `motorfit.physics.transient`; where the controller changes regime within it
(`motorfit.physics.regimes`), it is split at the closed-form time of the change.  A regime is held as a number
in a lane: 0 limited, 1 driving, 2 braking, 3 braking limited.
"""

from __future__ import annotations

from motorfit.compiled import kernel
from motorfit.lanes import (
    LANES,
    Array,
    Lanes,
    Mask,
    any_of,
    lane,
    load,
    same,
    size,
    spread,
    square_root,
    where,
    with_lane,
)
from motorfit.lanes_math import exponential, logarithm
from motorfit.physics.slots import P_AQ, P_BRAKE, P_CQ, P_I0, P_I1, P_I2, P_LIMIT, P_RS, P_SAT, P_WREF
from motorfit.physics.transient import riccati_step, riccati_time_to
from motorfit.physics.transient_lanes import riccati_lanes

__all__ = ["advance", "bus_current", "current_at", "from_power", "grown", "regime_at", "slope_of_current"]

_MOST_PIECES = 8


@kernel
def regime_at(omega: Lanes, low: Lanes, zero: Lanes, high: Lanes) -> Lanes:
    """Regime at a speed [rad/s]; `low`, `zero`, `high` are the speeds where regimes meet."""
    upper = where(omega <= high, 2.0, spread(3.0))
    return where(omega < low, 0.0, where(omega <= zero, 1.0, upper))


@kernel
def _share(regime: Lanes, brake: Lanes) -> Lanes:
    """Share of the ideal current that flows: all when driving, the braking share when braking, else none."""
    return where(same(regime, 1.0), 1.0, where(same(regime, 2.0), brake, spread(0.0)))


@kernel
def _edge(regime: Lanes, limit: Lanes) -> Lanes:
    """Current [A] of a limit where one is met, else none."""
    return where(same(regime, 0.0), limit, where(same(regime, 3.0), -limit, spread(0.0)))


@kernel
def slope_of_current(q: Array, regime: Lanes, ke: Lanes, inverse_r: Lanes) -> Lanes:
    """How speed lowers the current [A s/rad] in a regime."""
    return _share(regime, load(q, (P_BRAKE,))) * ke * inverse_r


@kernel
def current_at(q: Array, regime: Lanes, omega: Lanes, u: Lanes, ke: Lanes, inverse_r: Lanes) -> Lanes:
    """Motor current [A] in a regime."""
    ideal = (u - ke * omega) * inverse_r
    return _edge(regime, load(q, (P_LIMIT,))) + _share(regime, load(q, (P_BRAKE,))) * ideal


@kernel
def from_power(power: Lanes, source: Lanes, rs: Lanes) -> Lanes:
    """Current [A] of a source [V] behind a resistance [ohm] that gives a power [W]: I (E - R_s I) = P."""
    left = source * source - 4.0 * rs * power
    return 2.0 * power / (source + square_root(where(left > 0.0, left, 0.0)))


@kernel
def bus_current(
    q: Array, regime: Lanes, omega: Lanes, current: Lanes, duty: Lanes, ke: Lanes, rt: Lanes, source: Lanes
) -> Lanes:
    """Bus current less idle [A]: by duty when driving, by power balance when the controller limits."""
    bus = duty * current
    driving = same(regime, 1.0)
    if any_of(~driving):
        power = current * (ke * omega + rt * current)
        bus = where(driving, bus, from_power(power, source, load(q, (P_RS,))))
    return bus


@kernel
def grown(omega: Lanes, reference: Lanes, exponent: Lanes) -> Lanes:
    """(ω/ω_ref)^exponent, speeds [rad/s] not below 1."""
    return exponential(exponent * logarithm(where(omega > 1.0, omega, 1.0) / reference))


@kernel
def _piece(
    q: Array, regime: Lanes, omega: Lanes, left: Lanes, at: Lanes, trial: Lanes, asked: Mask, alpha: Lanes,
    beta: Lanes, kt: Lanes, inverse_j: Lanes, low: Lanes, zero: Lanes, high: Lanes, bent: bool,
) -> tuple[Lanes, Lanes, Lanes, Lanes, Lanes, Lanes, Lanes, Lanes]:  # fmt: skip
    """One step within a regime, with saturation and the propeller's Reynolds trend by their tangents.

    They touch at a speed `at` [rad/s], where the current is `trial` [A]. Near ω₁, ω² (ω/ω₁)^A is
    (1 + A/2) ω² - A/2 ω₁². A motor that saturates loses less torque with speed; no more than nine tenths of
    the loss are taken back, which keeps the step's equation stable.

    Returns (speed at its end, its integral, its length [s], -1, 0 or 1 for the regime it runs into, a, b, c).
    """
    bow = trial * load(q, (P_SAT,))
    softened = 1.0 / (1.0 + trial * bow)
    push = kt * softened * inverse_j
    a = push * (alpha - load(q, (P_I0,)))
    b = push * (beta + load(q, (P_I1,)))
    c = push * load(q, (P_I2,))
    lost = load(q, (P_I0,)) + at * (load(q, (P_I1,)) + at * load(q, (P_I2,)))
    back = 2.0 * push * beta * softened * bow * (trial - lost)
    back = where(back < 0.9 * b, back, 0.9 * b)
    a, b = a - back * at, b - back
    drag = load(q, (P_CQ,)) * inverse_j
    if bent:
        trend = load(q, (P_AQ,))
        drag = drag * grown(at, load(q, (P_WREF,)), trend)
        half = where(at > 1.0, 0.5 * trend, 0.0) * drag
        a = a + half * at * at
        drag = drag + half
    c = c + drag
    slope = a - b * omega - c * omega * omega
    stuck = (omega <= 0.0) & (slope <= 0.0)
    moves = asked & ~stuck
    end, part = riccati_lanes(omega, a, b, c, left, moves)
    below = end < 0.0
    part = where(stuck, 0.0, where(below & (part < 0.0), 0.0, part))
    end = where(stuck | below, 0.0, end)
    step, turn = left, spread(0.0)
    above = where(same(regime, 0.0), low, where(same(regime, 1.0), zero, high))
    under = where(same(regime, 1.0), low, where(same(regime, 2.0), zero, high))
    up = moves & (slope > 0.0) & (regime < 3.0) & (end > above)
    down = moves & (slope < 0.0) & (regime > 0.0) & (end < under)
    if any_of(up | down):
        target = where(up, above, under)
        for j in range(LANES):
            if lane(up | down, j):
                w, aj, bj, cj = lane(omega, j), lane(a, j), lane(b, j), lane(c, j)
                reach = riccati_time_to(w, lane(target, j), aj, bj, cj)
                if reach < lane(left, j):
                    one, way = riccati_step(w, aj, bj, cj, reach)
                    step, turn = with_lane(step, j, reach), with_lane(turn, j, 1.0 if lane(up, j) else -1.0)
                    end, part = with_lane(end, j, one), with_lane(part, j, way)
    return end, part, step, turn, a, b, c, slope


@kernel
def advance(
    q: Array, omega: Lanes, h: Lanes, gain: Lanes, regime: Lanes, duty: Lanes, u: Lanes, ke: Lanes, kt: Lanes,
    rt: Lanes, inverse_r: Lanes, inverse_j: Lanes, low: Lanes, zero: Lanes, high: Lanes, source: Lanes,
) -> tuple[Lanes, Lanes, Lanes, Lanes, Lanes, Mask, Lanes, Lanes]:  # fmt: skip
    """Advance a shaft by a step.

    Parameters
    ----------
    q : (N_PHYSICS, LANES) parameters, SI (`motorfit.physics.slots`)
    omega : speed at the start [rad/s]
    h : length of the step [s]
    gain : what the speed is guessed to gain over it [rad/s]; a good guess saves a second pass
    regime : at the start
    duty : [1];  u : voltage behind the whole resistance, which is 1/inverse_r [V, ohm]
    ke, kt : motor constants [V s/rad, N m/A];  rt : resistance of motor and controller [ohm]
    inverse_j : of the moment of inertia [1/(kg m²)]
    low, zero, high : speeds where regimes meet [rad/s]
    source : open-circuit voltage less what idling takes [V]

    Returns
    -------
    (speed at the end [rad/s], its integral [rad], motor charge [A s], bus charge less idle [A s], regime at
    the end, where it changed, acceleration at the start and at the end [rad/s²])
    """
    area = charge = bus = first_slope = last_slope = spread(0.0)
    left = h
    asked = ~(omega < 0.0)  # also where it is not a number, so that it stays none
    switched = omega < 0.0
    brake, limit = load(q, (P_BRAKE,)), load(q, (P_LIMIT,))
    sat = load(q, (P_SAT,))
    bent = any_of(~same(load(q, (P_AQ,)), 0.0) & ~same(load(q, (P_CQ,)), 0.0))
    for piece in range(_MOST_PIECES):
        share = _share(regime, brake)
        alpha = _edge(regime, limit) + share * u * inverse_r
        beta = share * ke * inverse_r
        at = omega
        if piece == 0:
            at = omega + 0.5 * gain
            at = where(at > 0.0, at, 0.0)
        trial = alpha - beta * at
        end, part, step, turn, a, b, c, slope = _piece(
            q, regime, omega, left, at, trial, asked, alpha, beta, kt, inverse_j, low, zero, high, bent
        )
        middle = 0.5 * (omega + end)
        held = alpha - beta * middle
        # where trend and saturation were taken near the middle, they stand for the whole step
        settled = (size(middle - at) < 0.004 * middle) & (sat * size(held * held - trial * trial) < 0.002)
        again = asked & ~settled & ~((omega <= 0.0) & (slope <= 0.0))
        if any_of(again):
            end2, part2, step2, turn2, a2, b2, c2, slope2 = _piece(
                q, regime, omega, left, middle, held, again, alpha, beta, kt, inverse_j, low, zero, high, bent
            )
            end, part, step = where(again, end2, end), where(again, part2, part), where(again, step2, step)
            a, b, c = where(again, a2, a), where(again, b2, b), where(again, c2, c)
            turn, slope = where(again, turn2, turn), where(again, slope2, slope)
        flow = alpha * step - beta * part
        passed = duty * flow
        driving = same(regime, 1.0)
        if any_of(asked & ~driving):
            some = step > 0.0
            whole = where(some, step, 1.0)
            mean_i, mean_w = flow / whole, part / whole
            spread_w = (end - omega) * (end - omega) * (1.0 / 12.0)
            power = mean_i * (ke * mean_w + rt * mean_i) + spread_w * beta * (rt * beta - ke)
            limited = where(some, from_power(power, source, load(q, (P_RS,))) * step, 0.0)
            passed = where(driving, passed, limited)
        if piece == 0:
            first_slope = slope
        last_slope = where(asked, where(end <= 0.0, 0.0, a - b * end - c * end * end), last_slope)
        area = area + where(asked, part, 0.0)
        charge = charge + where(asked, flow, 0.0)
        bus = bus + where(asked, passed, 0.0)
        left = where(asked, left - step, left)
        omega = where(asked, end, omega)
        asked = asked & (left > 0.0) & ~same(turn, 0.0)
        if not any_of(asked):
            break
        switched = switched | asked
        # where regimes meet, exactly: the next one starts there
        rise = turn > 0.0
        met = where(same(regime, 0.0), low, where(same(regime, 1.0), where(rise, zero, low), high))
        met = where(same(regime, 2.0) & ~rise, zero, met)
        omega = where(asked, met, omega)
        regime = where(asked, regime + turn, regime)
    return omega, area, charge, bus, regime, switched, first_slope, last_slope
