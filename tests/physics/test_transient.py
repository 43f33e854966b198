"""The closed-form step of dω/dt = a - b ω - c ω² against integration, itself and its limits."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from motorfit.physics.transient import riccati_step, riccati_time_to

# a small motor with a propeller: time constants from milliseconds to seconds
SPEEDS = st.floats(0.0, 3000.0)
DRIVES = st.floats(1.0, 1e5)
DAMPINGS = st.floats(0.0, 200.0)
QUADRATICS = st.floats(1e-6, 0.1)
STEPS = st.floats(1e-4, 0.1)


def integrated(omega: float, a: float, b: float, c: float, h: float) -> tuple[float, float]:
    """Speed and its integral by a tight Runge-Kutta integration."""

    def slope(_t: float, y: list[float]) -> list[float]:
        return [a - b * y[0] - c * y[0] ** 2, y[0]]

    end = solve_ivp(slope, (0.0, h), [omega, 0.0], method="DOP853", rtol=1e-11, atol=1e-12).y[:, -1]
    return float(end[0]), float(end[1])


@pytest.mark.parametrize(
    ("omega", "a", "b", "c", "h"),
    [
        pytest.param(0.0, 5e4, 40.0, 0.02, 0.03, id="start from rest"),
        pytest.param(1400.0, 5e4, 40.0, 0.02, 0.03, id="from above"),
        pytest.param(900.0, 5e4, 40.0, 0.0, 0.03, id="no quadratic term"),
        pytest.param(900.0, 5e4, 0.0, 0.02, 0.03, id="no linear term"),
        pytest.param(900.0, 5e4, 40.0, 2e-7, 0.03, id="small quadratic term"),
        pytest.param(900.0, -30.0, 0.1, 3e-4, 1.5, id="coasting with static drag"),
        pytest.param(900.0, -30.0, 0.0, 3e-4, 1.5, id="coasting without a linear term"),
        pytest.param(900.0, 0.0, 0.4, 3e-4, 1.5, id="coasting without static drag"),
        pytest.param(900.0, -800.0, 20.0, 1e-4, 0.08, id="both roots below rest"),
        pytest.param(500.0, 3000.0, 0.0, 0.0, 0.1, id="constant torque"),
    ],
)
def test_step_solves_the_differential_equation(omega: float, a: float, b: float, c: float, h: float) -> None:
    end, area = riccati_step(omega, a, b, c, h)
    exact_end, exact_area = integrated(omega, a, b, c, h)
    assert end == pytest.approx(exact_end, rel=1e-9)
    assert area == pytest.approx(exact_area, rel=1e-9)


@given(omega=SPEEDS, a=DRIVES, b=DAMPINGS, c=QUADRATICS, h1=STEPS, h2=STEPS)
def test_one_step_is_two_steps(omega: float, a: float, b: float, c: float, h1: float, h2: float) -> None:
    end, area = riccati_step(omega, a, b, c, h1 + h2)
    mid, first = riccati_step(omega, a, b, c, h1)
    last, second = riccati_step(mid, a, b, c, h2)
    assert end == pytest.approx(last, rel=1e-8, abs=1e-8)
    assert area == pytest.approx(first + second, rel=1e-8, abs=1e-9)


@given(omega=SPEEDS, a=DRIVES, b=DAMPINGS, c=QUADRATICS, h=STEPS)
def test_speed_stays_between_start_and_equilibrium(
    omega: float, a: float, b: float, c: float, h: float
) -> None:
    equilibrium = 2.0 * a / (b + math.sqrt(b * b + 4.0 * a * c))
    low, high = sorted((omega, equilibrium))
    end, area = riccati_step(omega, a, b, c, h)
    assert low * (1.0 - 1e-9) - 1e-9 <= end <= high * (1.0 + 1e-9) + 1e-9
    assert low * h * (1.0 - 1e-9) - 1e-9 <= area <= high * h * (1.0 + 1e-9) + 1e-9


@given(omega=SPEEDS, a=DRIVES, b=st.floats(0.0, 40.0), c=st.floats(1e-6, 0.01), h=st.floats(1e-4, 0.02))
def test_time_to_the_end_of_a_step_is_the_step(omega: float, a: float, b: float, c: float, h: float) -> None:
    end, _ = riccati_step(omega, a, b, c, h)
    equilibrium = 2.0 * a / (b + math.sqrt(b * b + 4.0 * a * c))
    # a target too near the equilibrium is reached late, at a time that rounding decides
    assume(abs(end - equilibrium) > 1e-5 * equilibrium)
    assume(abs(end - omega) > 1e-6 * equilibrium)
    assert riccati_time_to(omega, end, a, b, c) == pytest.approx(h, rel=1e-7)


def test_time_to_a_target_while_coasting() -> None:
    # no equilibrium with a linear term only: ω(t) = (ω₀ - a/b) e^(-bt) + a/b
    omega, a, b = 800.0, -60.0, 0.5
    wanted = math.log((omega - a / b) / (200.0 - a / b)) / b
    assert riccati_time_to(omega, 200.0, a, b, 0.0) == pytest.approx(wanted, rel=1e-12)
    assert riccati_time_to(omega, 200.0, -60.0, 0.0, 0.0) == pytest.approx(10.0)


@pytest.mark.parametrize("target", [1500.0, 400.0, 500.0])
def test_target_that_is_never_passed(target: float) -> None:
    a, b = 4e4, 40.0  # equilibrium 1000 rad/s
    assert riccati_time_to(500.0, target, a, b, 0.0) == math.inf


@given(omega=SPEEDS, a=DRIVES, b=st.floats(1.0, 200.0), h=STEPS)
def test_vanishing_quadratic_term_gives_the_exponential(omega: float, a: float, b: float, h: float) -> None:
    settled = a / b
    end = settled + (omega - settled) * math.exp(-b * h)
    area = settled * h - (omega - settled) * math.expm1(-b * h) / b
    for c in (0.0, 1e-18):
        got_end, got_area = riccati_step(omega, a, b, c, h)
        assert got_end == pytest.approx(end, rel=1e-10, abs=1e-8)
        assert got_area == pytest.approx(area, rel=1e-10, abs=1e-9)


def test_nothing_acts() -> None:
    assert riccati_step(700.0, 0.0, 0.0, 0.0, 0.2) == pytest.approx((700.0, 140.0))


@pytest.mark.parametrize(("h", "tolerance"), [(0.6, 0.01), (5.0, 0.1)])
def test_coasting_past_rest_keeps_the_way_covered(h: float, tolerance: float) -> None:
    # rest is reached after 0.57 s; callers clamp the speed there, so it may not run away beyond it
    omega, a, c = 300.0, -500.0, 1e-3
    end, area = riccati_step(omega, a, 0.0, c, h)
    to_rest = math.log1p(c * omega**2 / -a) / (2.0 * c)
    assert -0.1 * omega <= end <= 0.0
    assert area == pytest.approx(to_rest, rel=tolerance)
