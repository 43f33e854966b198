"""Operating points: closed forms, balances, limits, and the way back."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motorfit.physics import controller, motor, propeller, rows
from motorfit.physics.block import K_RUN
from motorfit.physics.demand import current_for_torque, demand, throttle_for_duty
from motorfit.physics.drive import Drive, Load
from motorfit.physics.steady import SOLVED, in_parts, operating_points
from motorfit.physics.sweep import fresh, sweep
from motorfit.physics.values import PhysicsError

PLAIN = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.5, drag_slope=2e-4)
LOAD = Load(thrust_coefficient=0.12, torque_coefficient=0.011, diameter=0.1778, density=1.2)
GRID = np.linspace(0.0, 1.0, 21)


def test_without_exponents_it_is_a_quadratic() -> None:
    o = operating_points([0.3, 0.7, 1.0], 22.2, PLAIN, LOAD)
    k_q = 0.011 * 1.2 * 0.1778**5 / (2.0 * math.pi) ** 2
    for k, d in enumerate((0.3, 0.7, 1.0)):
        a = 0.0072 * (d * 22.2 / 0.06 - 0.5)
        b = 0.0072 * (0.0075 / 0.06 + 2e-4)
        assert o.speed[0, k] == pytest.approx((-b + math.sqrt(b * b + 4 * a * k_q)) / (2 * k_q), rel=1e-12)


def test_bare_shaft_reaches_the_no_load_speed() -> None:
    o = operating_points(1.0, 10.0, PLAIN)
    assert o.speed[0, 0] == pytest.approx(motor.no_load_speed(10.0, 0.0075, 0.06, 0.5, 2e-4))
    kv = 60.0 / (2.0 * math.pi * 0.0075)
    assert o.motor_current[0, 0] == pytest.approx(motor.no_load_current(kv, 0.06, 0.5, 2e-4))
    assert not o.thrust.any()
    assert not o.torque.any()


wide = st.fixed_dictionaries(
    {
        "kv": st.floats(150.0, 4000.0),
        "ratio": st.floats(0.8, 1.05),
        "resistance": st.floats(0.005, 0.5),
        "drag_static": st.floats(0.0, 2.0),
        "drag_slope": st.floats(0.0, 1e-3),
        "drag_windage": st.floats(0.0, 1e-7),
        "saturation_current": st.floats(150.0, 1e4) | st.just(math.inf),
        "controller_resistance": st.floats(0.0, 0.03),
        "idle_current": st.floats(0.0, 0.5),
        "current_limit": st.floats(3.0, 100.0) | st.just(math.inf),
        "duty_slope": st.floats(0.9, 1.2),
        "duty_curvature": st.floats(-0.2, 0.2),
        "duty_cubic": st.floats(-0.1, 0.1),
        "source_resistance": st.floats(0.0, 0.05),
    }
)


@settings(max_examples=150, deadline=None)
@given(
    p=wide,
    voltage=st.floats(6.0, 50.0),
    c_t=st.floats(0.03, 0.25),
    fm=st.floats(0.3, 0.85),
    diameter=st.floats(0.1, 0.45),
    a_t=st.floats(-0.1, 0.2),
    a_q=st.floats(-0.3, 0.2),
)
def test_every_point_satisfies_every_equation(
    p: dict[str, float], voltage: float, c_t: float, fm: float, diameter: float, a_t: float, a_q: float
) -> None:
    k_e = float(motor.back_emf_constant(p["kv"]))
    k_t = float(motor.torque_constant(p["kv"], p["ratio"]))
    rest = {k: v for k, v in p.items() if k not in ("kv", "ratio")}
    c_q = float(propeller.torque_coefficient(c_t, fm))
    load = Load(
        thrust_coefficient=c_t,
        torque_coefficient=c_q,
        diameter=diameter,
        density=1.2,
        thrust_exponent=a_t,
        torque_exponent=a_q,
    )
    o = operating_points(GRID, voltage, Drive(k_e=k_e, k_t=k_t, **rest), load)
    on = o.turning[0]
    w, i = o.speed[0], o.motor_current[0]
    asked = np.asarray(controller.duty(GRID, p["duty_slope"], p["duty_curvature"], p["duty_cubic"]))

    # electrical side, everywhere
    r_c = p["controller_resistance"]
    scale = voltage
    v_m = motor.terminal_voltage(i, w, k_e, p["resistance"])
    np.testing.assert_allclose(o.motor_voltage[0], v_m, atol=1e-9 * scale)
    np.testing.assert_allclose(
        controller.motor_voltage(o.duty[0], o.bus_voltage[0], i, r_c), v_m, atol=1e-7 * scale
    )
    np.testing.assert_allclose(o.bus_current[0], controller.bus_current(o.duty[0], i, p["idle_current"]))
    np.testing.assert_allclose(
        o.bus_voltage[0], controller.bus_voltage(voltage, p["source_resistance"], o.bus_current[0])
    )
    # limit and duty
    assert np.all(i <= p["current_limit"] * (1 + 1e-12))
    np.testing.assert_allclose(i[o.limited[0]], p["current_limit"])
    np.testing.assert_allclose(o.duty[0][~o.limited[0]], asked[~o.limited[0]])
    assert np.all(o.duty[0] <= asked + 1e-9)
    # mechanical side, where it turns
    q_m = motor.shaft_torque(
        i, w, k_t, p["drag_static"], p["drag_slope"], p["drag_windage"], p["saturation_current"]
    )
    q_p = propeller.torque(w, c_q, diameter, 1.2, a_q)
    np.testing.assert_allclose(np.asarray(q_m)[on], np.asarray(q_p)[on], rtol=1e-6, atol=1e-9 * k_t)
    np.testing.assert_allclose(o.torque[0], q_p, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(
        o.thrust[0], propeller.thrust(w, c_t, diameter, 1.2, a_t), rtol=1e-9, atol=1e-15
    )
    assert np.all(w[~on] == 0.0)
    # energy: what goes in comes out as shaft power and losses
    loss_copper = (p["resistance"] + r_c) * i * i
    loss_other = k_e * w * i - o.mechanical_power[0]
    np.testing.assert_allclose(
        o.electrical_power[0],
        o.mechanical_power[0] + loss_copper + loss_other + o.bus_voltage[0] * p["idle_current"],
        rtol=1e-6,
        atol=1e-8,
    )
    if p["ratio"] <= 1.0:
        assert np.all(loss_other >= -1e-6 * (1.0 + o.mechanical_power[0]))


def test_too_little_duty_does_not_turn_it() -> None:
    o = operating_points([0.0, 0.001, 0.5], 22.2, PLAIN, LOAD)
    np.testing.assert_array_equal(o.turning[0], [False, False, True])
    np.testing.assert_array_equal(o.speed[0, :2], 0.0)
    assert o.motor_current[0, 1] == pytest.approx(0.001 * 22.2 / 0.06)  # the locked winding's current


def test_stalled_below_the_static_drag_at_the_limit() -> None:
    held = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=3.0, current_limit=2.0)
    o = operating_points(1.0, 22.2, held, LOAD)
    assert not o.turning[0, 0]
    assert o.limited[0, 0]
    assert o.motor_current[0, 0] == 2.0
    assert o.speed[0, 0] == 0.0


def test_limit_fixes_the_current_and_lowers_the_duty() -> None:
    limited = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.5, current_limit=20.0)
    o = operating_points(1.0, 22.2, limited, LOAD)
    assert o.limited[0, 0]
    assert o.duty[0, 0] < 1.0
    k_q = 0.011 * 1.2 * 0.1778**5 / (2.0 * math.pi) ** 2
    assert o.speed[0, 0] == pytest.approx(math.sqrt(0.0072 * 19.5 / k_q))
    assert o.bus_current[0, 0] == pytest.approx(20.0 * o.motor_voltage[0, 0] / 22.2)


def test_an_idle_supply_gives_what_the_controller_draws() -> None:
    idle = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, idle_current=0.2, source_resistance=0.05)
    o = operating_points(0.0, 22.2, idle, LOAD)
    assert o.bus_current[0, 0] == pytest.approx(0.2)
    assert o.bus_voltage[0, 0] == pytest.approx(22.19)


def test_draws_run_down_and_grid_runs_across_whatever_the_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    drive = Drive(k_e=rng.normal(0.0075, 1e-4, 257), k_t=0.0072, resistance=rng.normal(0.06, 0.002, 257))
    x = np.linspace(0.0, 1.0, 100)
    threaded = operating_points(x, 22.2, drive, LOAD)
    monkeypatch.setattr(rows, "_THREADED_ABOVE", 10**9)
    alone = operating_points(x, 22.2, drive, LOAD)
    assert threaded.speed.shape == (257, 100)
    np.testing.assert_array_equal(threaded.speed, alone.speed)
    single = operating_points(
        x, 22.2, Drive(k_e=np.asarray(drive.k_e)[100], k_t=0.0072, resistance=0.06), LOAD
    )
    assert single.speed.shape == (1, 100)


def test_each_draw_may_have_a_voltage_of_its_own() -> None:
    rng = np.random.default_rng(5)
    drive = Drive(k_e=rng.normal(0.0075, 1e-4, 3), k_t=0.0072, resistance=0.06, source_resistance=0.02)
    volts = np.array([14.0, 16.0, 22.0])
    together = operating_points([0.4, 1.0], volts[:, None], drive, LOAD)
    for k, volt in enumerate(volts):
        alone = operating_points([0.4, 1.0], volt, drive, LOAD)
        np.testing.assert_array_equal(together.speed[k], alone.speed[k])
        np.testing.assert_array_equal(together.bus_voltage[k], alone.bus_voltage[k])
    with pytest.raises(PhysicsError, match="one voltage a draw"):
        operating_points([0.4, 1.0], np.full((2, 1), 14.0), drive, LOAD)


def test_points_in_any_order_or_in_parts_are_the_same_points() -> None:
    rng = np.random.default_rng(7)
    drive = Drive(
        k_e=rng.normal(0.0075, 1e-4, 300), k_t=0.0072, resistance=0.06,
        drag_static=rng.uniform(0.1, 2.0, 300),
        current_limit=rng.uniform(15.0, 60.0, 300), saturation_current=150.0, source_resistance=0.01,
    )  # fmt: skip
    load = replace(LOAD, torque_exponent=-0.06, thrust_exponent=0.05)
    x = np.linspace(0.0, 1.0, 50)
    whole = operating_points(x, 22.2, drive, load)
    assert whole.limited.any() and not whole.turning.all()
    mixed = rng.permutation(np.repeat(np.arange(50), 2))
    shuffled = operating_points(x[mixed], 22.2, drive, load)
    names = ("bus_current", "speed", "mechanical_power")
    for part in in_parts(x, np.full((1, 50), 22.2), rows.stacked(drive, load), names, 7):
        points = slice(part.first, part.first + len(part.limited))
        np.testing.assert_array_equal(part.turning, whole.turning.T[points])
        for values, name in zip(part.values, names, strict=True):
            np.testing.assert_allclose(values, getattr(whole, name).T[points], rtol=1e-10)
    for name in names:
        np.testing.assert_allclose(getattr(shuffled, name), getattr(whole, name)[:, mixed], rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(p=wide, voltage=st.floats(6.0, 50.0), a_q=st.floats(-0.2, 0.1))
def test_demand_leads_back_to_the_throttle(p: dict[str, float], voltage: float, a_q: float) -> None:
    rest = {k: v for k, v in p.items() if k not in ("kv", "ratio")}
    rest |= {"current_limit": math.inf, "duty_curvature": 0.1 * p["duty_curvature"]}
    drive = Drive(
        k_e=motor.back_emf_constant(p["kv"]), k_t=motor.torque_constant(p["kv"], p["ratio"]), **rest
    )
    load = Load(
        thrust_coefficient=0.1, torque_coefficient=0.009, diameter=0.15, density=1.2, torque_exponent=a_q
    )
    x = np.array([0.3, 0.6, 0.95])
    o = operating_points(x, voltage, drive, load)
    on = o.turning[0] & (o.motor_current[0] < 0.5 * p["saturation_current"])  # the branch the inverse takes
    back = demand(o.speed, o.torque, voltage, drive)
    np.testing.assert_allclose(back.throttle[0, on], x[on], atol=1e-5)
    np.testing.assert_allclose(back.bus_current[0, on], o.bus_current[0, on], rtol=1e-5)
    np.testing.assert_allclose(back.bus_voltage[0, on], o.bus_voltage[0, on], rtol=1e-6)


def test_demand_says_what_cannot_be() -> None:
    drive = Drive(k_e=0.01, k_t=0.01, resistance=0.05, current_limit=30.0, saturation_current=80.0)
    out = demand([1000.0, 1000.0, 3000.0], [0.1, 0.35, 0.1], 22.2, drive)
    np.testing.assert_array_equal(out.feasible[0], [True, False, False])
    assert math.isnan(out.throttle[0, 2])
    assert math.isnan(current_for_torque(1.0, 100.0, drive)[0, 0])
    assert throttle_for_duty(0.0, drive)[0, 0] == 0.0


@pytest.mark.parametrize(
    ("call", "parts"),
    [
        (lambda: operating_points(50.0, 22.2, PLAIN, LOAD), ("throttle is 50", "0 to 1", "0.5 for 50 %")),
        (lambda: operating_points(0.5, 0.0, PLAIN, LOAD), ("supply voltage is 0",)),
        (lambda: operating_points([0.1, 0.2], [1.0, 2.0, 3.0], PLAIN), ("(2,)", "(3,)", "one voltage")),
        (lambda: Drive(k_e=-0.01, k_t=0.01, resistance=0.1), ("k_e is -0.01",)),
        (lambda: Drive(k_e=0.01, k_t=np.ones((2, 2)), resistance=0.1), ("k_t has shape (2, 2)",)),
        (lambda: Drive(k_e=0.01, k_t=math.nan, resistance=0.1), ("k_t is nan",)),
        (
            lambda: operating_points(0.5, 10.0, Drive(k_e=np.ones(3), k_t=np.ones(2), resistance=0.1)),
            ("2 and 3 draws", "same fit"),
        ),
        (lambda: demand(-1.0, 0.1, 10.0, PLAIN), ("speed is -1",)),
    ],
)
def test_errors_quote_value_range_and_remedy(call: object, parts: tuple[str, ...]) -> None:
    with pytest.raises(PhysicsError) as caught:
        call()  # type: ignore[operator]
    for part in parts:
        assert part in str(caught.value)


def test_points_after_the_third_start_from_the_points_before_them() -> None:
    x = np.linspace(0.1, 1.0, 10)
    p = rows.stacked(PLAIN, LOAD)
    kept = fresh(p)
    out, flags = np.empty((len(SOLVED), x.size, 1)), np.empty((2, x.size, 1), dtype=np.bool_)
    want = np.arange(len(SOLVED))
    sweep(p, kept, np.full(3, math.nan), x, np.full((1, x.size), 22.2), want, out, flags, 0, 1)
    assert flags[1].all()
    assert kept[K_RUN - rows.N_ROW, 0] == x.size
