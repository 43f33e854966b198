"""The forward pass of one run against a tight integration of the same machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pytest

from motorfit.lanes import LANES
from motorfit.physics import slots as f
from motorfit.physics.forward import simulate_at_speed
from motorfit.physics.heat import heat_step
from tests.physics.bench_machine import PROPELLER, VOLTAGE, Array, in_lanes, integrate, simulate, slots

# current, speed, thrust, torque, motor current, motor voltage: what the reference gives
MEASURED = slice(0, 6)


@dataclass(frozen=True)
class Case:
    """One constant throttle from a speed, cut into blocks."""

    machine: Mapping[str, float]
    throttle: float
    duration_s: float
    blocks: int = 40
    freewheel: bool = False
    tolerance: float = 1e-6
    square_tolerance: float = 5e-5  # thrust and torque: the mean of ω² within a block is of second order
    edges: Array = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "edges", np.linspace(0.0, self.duration_s, self.blocks + 1))


CASES = {
    "no load from rest": Case({}, 1.0, 0.04),
    "no load at part throttle": Case({"duty_s": 0.9}, 0.5, 0.04),
    "propeller from rest": Case(PROPELLER, 0.8, 0.15),
    "propeller with Reynolds exponents": Case(
        {**PROPELLER, "at": 0.1, "aq": -0.15}, 0.8, 0.15, tolerance=3e-4, square_tolerance=5e-4
    ),
    "current limit on the way up": Case({**PROPELLER, "limit": 40.0}, 1.0, 0.15),
    "throttle stepped down, full braking": Case({**PROPELLER, "omega0": 1300.0}, 0.4, 0.15),
    "throttle stepped down, half braking": Case({**PROPELLER, "omega0": 1300.0, "brake": 0.5}, 0.4, 0.15),
    "throttle stepped down, no braking": Case({**PROPELLER, "omega0": 1300.0, "brake": 0.0}, 0.4, 0.15),
    "braking limit": Case(
        {**PROPELLER, "omega0": 1300.0, "brake": 0.8, "limit": 30.0}, 0.3, 0.025, blocks=20
    ),
    "freewheel with propeller": Case({**PROPELLER, "omega0": 1300.0}, 0.4, 0.5, freewheel=True),
    "freewheel bare": Case({"omega0": 1300.0}, 0.4, 0.5, freewheel=True),
}

SAMPLED = (
    "no load from rest",
    "propeller from rest",
    "current limit on the way up",
    "throttle stepped down, half braking",
    "freewheel with propeller",
)


def far_apart(got: Array, wanted: Array) -> Array:
    """Largest difference of each channel, relative to the channel's own size."""
    size = np.maximum(np.abs(wanted).max(axis=0), 1e-12)
    return np.asarray((np.abs(got - wanted) / size).max(axis=0))


def at_speed(p: Array, omega: Array, slope: Array, voltage: Array) -> Array:
    """Readings at given speeds, (rows, N_CHANNELS)."""
    out = np.empty((omega.size, f.N_CHANNELS, LANES))
    simulate_at_speed(in_lanes(p), in_lanes(omega), slope, in_lanes(voltage), out)
    return out[..., -1]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_block_means_are_those_of_the_integrated_machine(case: Case) -> None:
    p = slots(**case.machine)
    got = simulate(p, case.edges, case.throttle, freewheel=case.freewheel)[:, MEASURED]
    wanted = integrate(p, case.throttle, case.duration_s, freewheel=case.freewheel).block_means(case.edges)
    apart = far_apart(got, wanted)
    squares = [f.C_THRUST, f.C_TORQUE]
    assert np.delete(apart, squares).max() < max(case.tolerance, 5e-6)
    assert apart[squares].max() < case.square_tolerance


@pytest.mark.parametrize("trend", [{}, {"aq": -0.15}, {"aq": 0.3}])
@pytest.mark.parametrize("knee_a", [25.0, 35.0])
def test_a_block_longer_than_the_settling_ends_where_the_machine_does(
    knee_a: float, trend: Mapping[str, float]
) -> None:
    """Torque and drag of the end of a block, not of its middle, say where a motor that saturates settles."""
    machine = {**PROPELLER, **trend, "sat": knee_a**-2.0}
    settled = simulate(slots(**machine), np.linspace(0.0, 2.0, 400), 0.60)[-1, f.C_SPEED]
    p = slots(**machine, omega0=settled)
    fine, edges = np.linspace(0.0, 0.5, 2001), np.array([0.0, 0.25, 0.5])
    wanted = simulate(p, fine, 0.63)[:, MEASURED].reshape(2, 1000, -1).mean(axis=1)
    got = simulate(p, edges, 0.63)[:, MEASURED]
    gained = wanted[1, f.C_SPEED] - settled
    assert abs(got[1, f.C_SPEED] - wanted[1, f.C_SPEED]) < 0.0025 * gained


@pytest.mark.parametrize(
    "changes", [{}, {"sat": 60.0**-2.0}, {"aq": -0.15, "duty_c": 0.2, "duty_e": -0.1}, {"rs": 0.03}]
)
@pytest.mark.parametrize("begin", [0.1, 0.6])
def test_throttle_moves_within_a_block(changes: Mapping[str, float], begin: float) -> None:
    """A sweep in blocks of all lengths is what it is in steps of a fiftieth; a held throttle is not."""
    h, inside, per_s = np.array([0.3, 0.3, 0.02, 0.03, 0.05, 0.08, 0.02, 0.08, 0.04]), 50, 0.1
    edges, fine = np.insert(np.cumsum(h), 0, 0.0), np.insert(np.cumsum(np.repeat(h / inside, inside)), 0, 0.0)

    def swept(ends: Array) -> Array:
        return np.asarray(begin + per_s * np.maximum(0.5 * (ends[1:] + ends[:-1]) - edges[2], 0.0))

    settled = simulate(slots(**PROPELLER, **changes), np.linspace(0.0, 3.0, 300), begin)[-1, f.C_SPEED]
    p = slots(**PROPELLER, **changes, omega0=settled)
    wanted = simulate(p, fine, swept(fine)).reshape(h.size, inside, -1).mean(axis=1)[2:]
    moved = simulate(p, edges, swept(edges), slope=np.where(edges[:-1] < edges[2], 0.0, per_s))[2:]
    held = simulate(p, edges, swept(edges))[2:]
    for channel in (f.C_SPEED, f.C_MOTOR_CURRENT, f.C_TORQUE):
        off = np.abs(moved - wanted)[:, channel].max()
        assert off < 0.1 * np.abs(held - wanted)[:, channel].max()


@pytest.mark.parametrize("samples", [1, 2, 7, 60])
@pytest.mark.parametrize("name", SAMPLED)
def test_mean_of_samples_taken_at_the_starts_of_their_intervals(name: str, samples: int) -> None:
    case = CASES[name]
    p = slots(**case.machine)
    inside = np.arange(samples) / samples
    instants = (case.edges[:-1, None] + np.diff(case.edges)[:, None] * inside).ravel()
    fine = integrate(p, case.throttle, case.duration_s, freewheel=case.freewheel).at(instants)
    wanted = fine.reshape(case.blocks, samples, -1).mean(axis=1)
    got = simulate(p, case.edges, case.throttle, samples=samples, freewheel=case.freewheel)[:, MEASURED]
    # one sample is the state itself; the end correction leaves an error of fourth order in 1/samples at most
    tolerance = 1e-5 if samples == 1 else 3e-5 + 0.02 / samples**2
    assert far_apart(got, wanted).max() < tolerance
    if 1 < samples < 10:
        plain = simulate(p, case.edges, case.throttle, freewheel=case.freewheel)[:, MEASURED]
        assert far_apart(plain, wanted)[f.C_SPEED] > 5.0 * far_apart(got, wanted)[f.C_SPEED]


def test_current_never_passes_the_limit_and_power_balances_there() -> None:
    case = CASES["current limit on the way up"]
    p = slots(**case.machine)
    out = simulate(p, case.edges, case.throttle, samples=1)
    i_m, omega = out[:, f.C_MOTOR_CURRENT], out[:, f.C_SPEED]
    assert np.abs(i_m).max() <= 40.0 + 1e-9
    limited = i_m > 40.0 - 1e-9
    assert 3 < np.count_nonzero(limited) < case.blocks  # both regimes are passed
    power = i_m * (p[f.P_KE] * omega + (p[f.P_R] + p[f.P_RC]) * i_m)
    bus = out[:, f.C_CURRENT] - p[f.P_IDLE]
    np.testing.assert_allclose(bus * VOLTAGE, power, rtol=1e-9)
    # at rest the limit draws next to nothing from the bus
    assert bus[0] == pytest.approx(40.0**2 * 0.07 / VOLTAGE)


def test_braking_current_is_shared_and_limited() -> None:
    shares = {}
    for brake in (0.5, 1.0):
        p = slots(**PROPELLER, omega0=1300.0, brake=brake)
        out = simulate(p, np.array([0.0, 1e-6]), 0.4, samples=1)
        shares[brake] = out[0, f.C_MOTOR_CURRENT]
    assert shares[1.0] == pytest.approx((0.4 * VOLTAGE - 0.0095 * 1300.0) / 0.07)
    assert shares[0.5] == pytest.approx(0.5 * shares[1.0])
    p = slots(**PROPELLER, omega0=1300.0, brake=0.8, limit=30.0)
    out = simulate(p, np.linspace(0.0, 0.15, 61), 0.3, samples=1)
    assert out[0, f.C_MOTOR_CURRENT] == pytest.approx(-30.0)
    assert out[:, f.C_MOTOR_CURRENT].min() >= -30.0 - 1e-9


def test_source_resistance_sags_the_supply() -> None:
    # V_b = E - R_s (d I_m + I_q): the same circuit as R + R_c + d² R_s at a supply of E - R_s I_q
    edges = np.linspace(0.0, 0.1, 21)
    sagging = slots(**PROPELLER, rs=0.03)
    out = simulate(sagging, edges, 0.7)
    plain = slots(**PROPELLER, r=0.06 + 0.7**2 * 0.03)
    same = simulate(plain, edges, 0.7, voltage=VOLTAGE - 0.03 * 0.05)
    columns = [f.C_CURRENT, f.C_SPEED, f.C_THRUST, f.C_TORQUE, f.C_MOTOR_CURRENT]
    np.testing.assert_allclose(out[:, columns], same[:, columns], rtol=1e-10)


@pytest.mark.parametrize("freewheel", [False, True])
def test_heating_follows_the_thermal_network(freewheel: bool) -> None:
    # a light winding in a heavy body, steps short against both time constants
    c_w, tau_w, c_b, tau_b, air = 0.5, 4.0, 200.0, 50.0, 22.0
    p = slots(
        **PROPELLER, aw=1.0 / c_w, tw=tau_w, ab=1.0 / c_b, tb=tau_b, air=air, warmth=15.0, omega0=1100.0
    )
    edges = np.linspace(0.0, 12.0, 1201)
    out = simulate(p, edges, 0.8, freewheel=freewheel)
    winding = body = air + 15.0
    wanted = []
    for row in out:
        wanted.append(winding)
        i_m, omega = row[f.C_MOTOR_CURRENT], row[f.C_SPEED]
        copper = i_m**2 * p[f.P_R] * (1.0 + 0.00393 * (winding - 25.0))
        iron = p[f.P_KT] * (p[f.P_I0] + p[f.P_I1] * omega + p[f.P_I2] * omega**2) * omega
        w, b = heat_step(winding, body, air, copper, iron, c_w, tau_w, c_b, tau_b, 0.01)
        winding, body = float(w), float(b)
    rise = np.asarray(wanted) - air
    if not freewheel:
        assert rise[-1] > 50.0
    np.testing.assert_allclose(out[:, f.C_WINDING_TEMPERATURE] - air, rise, rtol=0.02)


def test_a_motor_without_heat_to_store_stays_at_air_temperature() -> None:
    out = simulate(slots(**PROPELLER, air=31.0), np.linspace(0.0, 5.0, 101), 0.8)
    np.testing.assert_allclose(out[:, f.C_WINDING_TEMPERATURE], 31.0)


@pytest.mark.parametrize(
    "more",
    [
        {},
        PROPELLER,
        {**PROPELLER, "at": 0.1, "aq": -0.15},
        {**PROPELLER, "sat": 1e-4},
        {**PROPELLER, "air": 40.0, "mag": 1.1e-3},
    ],
    ids=["no load", "propeller", "Reynolds exponents", "saturation", "hot air"],
)
@pytest.mark.parametrize("throttle", [0.45, 0.9])
def test_reading_at_speed_is_the_settled_end_of_a_driven_run(
    more: Mapping[str, float], throttle: float
) -> None:
    p = slots(**more)
    end = simulate(p, np.linspace(0.0, 2.0, 401), throttle)[-1:]
    out = at_speed(p, end[:, f.C_SPEED], np.zeros(1), np.array([VOLTAGE]))
    np.testing.assert_allclose(out, end, rtol=2e-5, atol=1e-9)


def test_reading_at_speed_without_a_logged_voltage_uses_the_supply_parameter() -> None:
    p = slots(**PROPELLER, supply=VOLTAGE)
    omega, slope = np.array([900.0]), np.array([250.0])
    with_voltage = at_speed(p, omega, slope, np.array([VOLTAGE]))
    without = at_speed(p, omega, slope, np.array([np.nan]))
    np.testing.assert_array_equal(with_voltage, without)
    # the shaft torque of a machine that speeds up includes what its inertia takes
    assert without[0, f.C_TORQUE] == pytest.approx(6e-8 * 900.0**2 + 2e-5 * 250.0)


@pytest.mark.parametrize("changes", [{}, {"rs": 0.05}], ids=["stiff supply", "soft supply"])
def test_readings_move_smoothly_as_the_limit_lets_go(changes: dict[str, float]) -> None:
    """As a current limit grows, the controller leaves it in another block: no reading may jump there."""
    edges = np.linspace(0.0, 0.06, 16)
    limits = np.linspace(40.0, 60.0, 4001)
    readings = np.stack(
        [
            simulate(slots(**{**PROPELLER, "limit": float(limit), **changes}), edges, 1.0, samples=2.0)[
                :, MEASURED
            ]
            for limit in limits
        ]
    )
    scale = np.abs(readings).max(axis=(0, 1))
    steps = np.abs(np.diff(readings, axis=0)).max(axis=1) / scale
    assert (steps.max(axis=0) < 4.0 * np.median(steps, axis=0)).all()
