"""The walk between two speeds against a tight integration of the same machine."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from motorfit.physics.drive import Drive, Load
from motorfit.physics.speed_change import speed_change
from motorfit.physics.steady import operating_points
from motorfit.physics.values import PhysicsError

VOLTAGE, INERTIA = 16.0, 2e-5
K_E, K_T, R, R_C, I_0, I_1, I_2 = 0.0075, 0.0071, 0.06, 0.006, 0.5, 2e-4, 3e-8
A_Q = -0.15
LOAD = Load(
    thrust_coefficient=0.13, torque_coefficient=0.0105, diameter=0.1778, density=1.19, torque_exponent=A_Q
)
PLAIN: Mapping[str, float] = {}
CASES: Mapping[str, Mapping[str, float]] = {
    "plain": PLAIN,
    "current limit": {"current_limit": 25.0},
    "sag and saturation": {"saturation_current": 60.0, "source_resistance": 0.05, "idle_current": 0.1},
    "limit and saturation": {"saturation_current": 80.0, "current_limit": 18.0, "duty_curvature": 0.05},
}


def drive(options: Mapping[str, float]) -> Drive:
    own: dict[str, Any] = dict(options)
    return Drive(
        k_e=K_E, k_t=K_T, resistance=R, controller_resistance=R_C, drag_static=I_0, drag_slope=I_1,
        drag_windage=I_2, **own,
    )  # fmt: skip


def rate(omega: float, throttle: float, options: Mapping[str, float], brake: float) -> float:
    """dω/dt by the rules of the controller, written without regimes."""
    curve = options.get("duty_curvature", 0.0)
    r_s, idle = options.get("source_resistance", 0.0), options.get("idle_current", 0.0)
    limit, soft = options.get("current_limit", math.inf), options.get("saturation_current", math.inf)
    d = 1.0 - (1.0 - throttle) + curve * throttle * (1.0 - throttle)
    i = (d * (VOLTAGE - r_s * idle) - K_E * omega) / (R + R_C + d * d * r_s)
    i = min(max(i if i > 0.0 else brake * i, -limit), limit)
    torque = K_T / (1.0 + (i / soft) ** 2) * (i - I_0 - I_1 * omega - I_2 * omega * omega)
    factor = 0.0105 * 1.19 * 0.1778**5 / (2.0 * math.pi) ** 2
    load = factor * omega * omega * (max(omega, 1e-6) / (500.0 * math.pi)) ** A_Q
    return float((torque - load) / INERTIA)


@pytest.mark.parametrize("brake", [1.0, 0.3, 0.0])
@pytest.mark.parametrize("way", ["up", "down"])
@pytest.mark.parametrize("case", CASES)
def test_times_rates_and_curve_are_those_of_a_tight_integration(case: str, way: str, brake: float) -> None:
    options = CASES[case]
    slow, fast = operating_points([0.1, 0.9], VOLTAGE, drive(options), LOAD).speed[0]
    throttle, start, end = (0.9, slow, fast) if way == "up" else (0.1, fast, slow)
    times = np.linspace(0.0, 0.15, 31)
    got = speed_change(
        throttle, VOLTAGE, drive(options), LOAD, inertia=INERTIA, braking_share=brake, start=start, end=end,
        times=times,
    )  # fmt: skip
    marks = [start + share * (end - start) for share in (0.1, 0.9)]
    wanted = solve_ivp(
        lambda _t, y: [rate(y[0], throttle, options, brake)], (0.0, 1.5), [start], method="DOP853",
        rtol=1e-10, atol=1e-8, max_step=1e-3, dense_output=True,
        events=[lambda _t, y, m=mark: y[0] - m for mark in marks],
    )  # fmt: skip
    first, last = (float(found[0]) for found in wanted.t_events)
    assert got.time[0] == pytest.approx(last - first, rel=2e-4)
    assert got.from_command[0] == pytest.approx(last, rel=2e-4)
    on_the_way = [abs(rate(w, throttle, options, brake)) for w in np.linspace(start, marks[1], 500)]
    assert got.peak[0] == pytest.approx(max(on_the_way), rel=1e-3)
    np.testing.assert_allclose(got.speed[0], wanted.sol(times)[0], atol=2e-3 * abs(fast - slow))


def test_without_load_drag_slope_and_limit_it_is_the_exponential() -> None:
    bare = Drive(k_e=K_E, k_t=K_T, resistance=R)
    end = VOLTAGE / K_E
    got = speed_change(
        1.0, VOLTAGE, bare, None, inertia=INERTIA, braking_share=1.0, start=0.0, end=end, times=[0.01]
    )
    time_constant = INERTIA * R / (K_E * K_T)
    assert got.time[0] == pytest.approx(time_constant * math.log(9.0), rel=1e-9)
    assert got.peak[0] == pytest.approx(end / time_constant, rel=1e-9)
    assert got.speed[0, 0] == pytest.approx(end * -math.expm1(-0.01 / time_constant), rel=1e-6)


def test_draws_stand_for_themselves() -> None:
    inertia = np.array([1e-5, 2e-5, 4e-5])
    slow, fast = operating_points([0.2, 0.8], VOLTAGE, drive(PLAIN), LOAD).speed[0]
    got = speed_change(
        0.8, VOLTAGE, drive(PLAIN), LOAD, inertia=inertia, braking_share=1.0, start=slow, end=fast
    )
    np.testing.assert_allclose(got.time / got.time[0], inertia / inertia[0], rtol=1e-12)
    assert got.speed.shape == (3, 0)


def test_a_speed_that_is_never_reached_has_no_time() -> None:
    slow, fast = operating_points([0.2, 0.8], VOLTAGE, drive(PLAIN), LOAD).speed[0]
    for end in (2.0 * fast, slow):
        got = speed_change(
            0.8, VOLTAGE, drive(PLAIN), LOAD, inertia=INERTIA, braking_share=1.0, start=slow, end=end,
            times=[0.0, 9.0],
        )  # fmt: skip
        assert np.isnan([got.time[0], got.from_command[0], got.peak[0]]).all()


def test_times_must_rise() -> None:
    with pytest.raises(PhysicsError, match="times must rise"):
        speed_change(
            0.8, 16.0, drive(PLAIN), LOAD, inertia=1e-5, braking_share=1.0, start=1.0, end=2.0,
            times=[0.2, 0.1],
        )  # fmt: skip
    with pytest.raises(PhysicsError, match=r"braking share is 1\.5"):
        speed_change(0.8, 16.0, drive(PLAIN), LOAD, inertia=1e-5, braking_share=1.5, start=1.0, end=2.0)
