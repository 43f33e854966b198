"""The simulated bench against closed forms: it is the yardstick, so it is measured first."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from motorfit.physics import motor as machine
from motorfit.physics.heat import settled
from motorfit.synthetic import integrate as bench
from motorfit.synthetic.curves import true_curve
from motorfit.synthetic.draw import draw_motor, draw_propeller
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.stand import draw_stand

MOTOR: Mapping[str, float] = {
    "kv": 1200.0,
    "kt": float(machine.torque_constant(1200.0, 0.97)),
    "winding_resistance": 0.07,
    "drag_current_static": 0.5,
    "drag_current_slope": 4e-4,
    "drag_current_windage": 0.0,
    "rotor_inertia": 5e-6,
    "braking_share": 1.0,
}
STAND: Mapping[str, float] = {
    "controller_resistance": 0.006,
    "controller_idle_current": 0.0,
    "duty_slope": 1.0,
    "duty_curvature": 0.0,
    "duty_cubic": 0.0,
}
PROPELLER: Mapping[str, float] = {
    "thrust_coefficient": 0.13,
    "torque_coefficient": 0.012,
    "thrust_reynolds_exponent": 0.05,
    "torque_reynolds_exponent": -0.06,
}
INTERVAL = 0.002


def run(
    throttle: NDArray[np.float64],
    supply: float,
    steps: int = 10,
    motor: Mapping[str, float] = MOTOR,
    propeller: Mapping[str, float] | None = None,
    load_inertia: float = 0.0,
    limit: float = math.inf,
    source: float = 0.0,
) -> NDArray[np.float64]:
    p = bench.run_parameters(
        motor,
        STAND,
        propeller=propeller,
        diameter=0.1778,
        density=1.2,
        load_inertia=load_inertia,
        source_resistance=source,
        current_limit=limit,
        air_c=25.0,
    )
    out = np.empty((bench.N_SIGNALS, throttle.size))
    bench.integrate(p, throttle, supply, INTERVAL, steps, out)
    return out


def test_unloaded_spin_up_is_an_exponential() -> None:
    out = run(np.ones(500), 10.0, load_inertia=2e-4)
    k_e, k_t = float(machine.back_emf_constant(1200.0)), MOTOR["kt"]
    total = 0.076
    rate = k_t * (k_e / total + 4e-4) / (5e-6 + 2e-4)
    end = k_t * (10.0 / total - 0.5) / (k_t * (k_e / total + 4e-4))
    t = np.arange(500) * INTERVAL
    np.testing.assert_allclose(out[bench.SPEED], end * -np.expm1(-rate * t), rtol=1e-8, atol=1e-8)


def test_constant_current_is_constant_acceleration_less_eddies() -> None:
    out = run(np.ones(800), 16.0, load_inertia=2e-4, limit=40.0)
    held = out[bench.I_MOTOR] == 40.0
    assert 50 < held.sum() < 800
    rate = MOTOR["kt"] * 4e-4 / 2.05e-4
    end = (40.0 - 0.5) / 4e-4
    t = np.arange(800) * INTERVAL
    np.testing.assert_allclose(out[bench.SPEED][held], (end * -np.expm1(-rate * t))[held], rtol=1e-8)
    # power balances through the controller
    power = 40.0 * (out[bench.V_MOTOR] + 0.006 * 40.0)
    np.testing.assert_allclose((out[bench.I_BUS] * 16.0)[held], power[held])


def test_coast_down_stops_in_the_closed_form_time() -> None:
    x = np.concatenate([np.ones(1000), np.zeros(2500)])
    out = run(x, 10.0, load_inertia=1e-5)
    w_0 = out[bench.SPEED, 1000]
    inertia, k_t = 1.5e-5, MOTOR["kt"]
    rate = k_t * 4e-4 / inertia
    stop = math.log1p(4e-4 * w_0 / 0.5) / rate
    t = np.arange(2500) * INTERVAL
    expected = np.maximum((w_0 + 0.5 / 4e-4) * np.exp(-rate * t) - 0.5 / 4e-4, 0.0)
    assert stop < t[-1]
    np.testing.assert_allclose(out[bench.SPEED, 1000:], expected, atol=0.05)
    assert not out[bench.I_BUS, 1000:].any()
    assert out[bench.SPEED, -1] == 0.0


def test_braking_with_full_share_is_the_same_linear_machine() -> None:
    x = np.concatenate([np.ones(1000), np.full(500, 0.3)])
    out = run(x, 10.0, load_inertia=2e-4)
    assert out[bench.I_MOTOR, 1000] < 0.0
    assert out[bench.I_BUS, 1000] == pytest.approx(0.3 * out[bench.I_MOTOR, 1000])
    weak = run(x, 10.0, load_inertia=2e-4, motor={**MOTOR, "braking_share": 0.25})
    assert weak[bench.I_MOTOR, 1000] == pytest.approx(0.25 * out[bench.I_MOTOR, 1000], rel=1e-6)
    assert weak[bench.SPEED, 1100] > out[bench.SPEED, 1100]


def test_ten_steps_a_sample_are_enough() -> None:
    x = np.concatenate([np.full(300, 0.2), np.full(300, 0.9), np.full(300, 0.3)])
    coarse = run(x, 22.2, 10, propeller=PROPELLER, load_inertia=1.5e-5, limit=40.0, source=0.02)
    fine = run(x, 22.2, 80, propeller=PROPELLER, load_inertia=1.5e-5, limit=40.0, source=0.02)
    np.testing.assert_allclose(coarse[bench.SPEED], fine[bench.SPEED], rtol=2e-5, atol=0.02)


def test_reaction_torque_is_the_rate_of_angular_momentum_plus_the_load() -> None:
    x = np.concatenate([np.full(400, 0.2), np.full(400, 0.7)])
    out = run(x, 22.2, propeller=PROPELLER, load_inertia=1.5e-5, limit=40.0)
    w = out[bench.SPEED]
    growth = (np.maximum(w, 1e-3) / (500.0 * math.pi)) ** -0.06
    load = 0.012 * 1.2 * (w / (2.0 * math.pi)) ** 2 * 0.1778**5 * growth
    impulse = np.trapezoid(out[bench.Q] - load, dx=INTERVAL)
    assert impulse == pytest.approx(2e-5 * (w[-1] - w[0]), rel=0.02)


def test_it_settles_where_the_steady_solver_says() -> None:
    options = BenchOptions.rich(heating=False)
    rng = np.random.default_rng(5)
    motor = draw_motor(rng, "m", options)
    screw = draw_propeller(rng, "p", 7.0, 3.5, 3, True, options)
    stand = draw_stand(rng, options, current_limit_a=40.0)
    for throttle in (0.4, 0.7, 1.0):
        curve = true_curve(motor, screw, 18.0, stand, 1.2, "voltage", [throttle]).values
        p = bench.run_parameters(
            motor.parameters,
            stand.parameters,
            propeller=screw.parameters,
            diameter=0.0254 * 7.0,
            density=1.2,
            load_inertia=screw.parameters["prop_inertia"],
            source_resistance=0.0,
            current_limit=stand.parameters["current_limit"],
            air_c=25.0,
        )
        out = np.empty((bench.N_SIGNALS, 1500))
        bench.integrate(p, np.full(1500, throttle), 18.0, INTERVAL, 10, out)
        assert out[bench.SPEED, -1] * 30.0 / math.pi == pytest.approx(curve["speed_rpm"][0], rel=1e-6)
        assert out[bench.T, -1] == pytest.approx(curve["thrust_n"][0], rel=1e-6)
        assert out[bench.Q, -1] == pytest.approx(curve["torque_nm"][0], rel=1e-6)
        assert out[bench.I_BUS, -1] == pytest.approx(curve["current_a"][0], rel=1e-6)
        assert out[bench.I_MOTOR, -1] == pytest.approx(curve["motor_current_a"][0], rel=1e-6)


def test_heat_rises_to_where_the_network_settles() -> None:
    hot = {
        **MOTOR,
        "winding_heat_capacity": 0.02,
        "winding_time_constant": 0.05,
        "body_heat_capacity": 0.2,
        "body_time_constant": 0.4,
        "magnet_temperature_coefficient": 0.0,
    }
    out = run(np.ones(3000), 10.0, motor=hot, propeller=PROPELLER, load_inertia=1.5e-5)
    i, w, t_w = out[bench.I_MOTOR, -1], out[bench.SPEED, -1], out[bench.T_W, -1]
    copper = i * i * float(machine.resistance_at(0.07, t_w))
    iron = MOTOR["kt"] * (0.5 + 4e-4 * w) * w
    assert t_w == pytest.approx(float(settled(25.0, copper, iron, 0.02, 0.05, 0.2, 0.4)[0]), rel=1e-3)
    assert t_w > 40.0
