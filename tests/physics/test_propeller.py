"""Coefficients, figure of merit, tips and walls."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.physics import propeller
from motorfit.physics.values import PhysicsError


def test_definition_at_the_reference_speed() -> None:
    omega = 2.0 * math.pi * 250.0
    assert propeller.thrust(omega, 0.1, 0.2, 1.2, 0.07) == pytest.approx(0.1 * 1.2 * 250.0**2 * 0.2**4)
    assert propeller.torque(omega, 0.01, 0.2, 1.2, -0.1) == pytest.approx(0.01 * 1.2 * 250.0**2 * 0.2**5)


def test_exponent_is_the_slope_in_logarithms() -> None:
    twice = propeller.thrust(200.0, 0.1, 0.2, 1.2, 0.05) / propeller.thrust(100.0, 0.1, 0.2, 1.2, 0.05)
    assert twice == pytest.approx(2.0**2.05)
    assert propeller.torque(0.0, 0.01, 0.2, 1.2, -0.2) == 0.0


@given(c_t=st.floats(0.02, 0.3), fm=st.floats(0.1, 0.99))
def test_figure_of_merit_is_ideal_over_real_power(c_t: float, fm: float) -> None:
    c_q = propeller.torque_coefficient(c_t, fm)
    assert propeller.figure_of_merit(c_t, c_q) == pytest.approx(fm)
    omega, d, rho = 900.0, 0.25, 1.18
    t, q = propeller.thrust(omega, c_t, d, rho), propeller.torque(omega, c_q, d, rho)
    ideal = t**1.5 / math.sqrt(2.0 * rho * math.pi * (d / 2.0) ** 2)  # momentum theory at rest
    assert ideal / (q * omega) == pytest.approx(fm)


@given(thrust=st.floats(0.01, 100.0), a=st.floats(-0.3, 0.3))
def test_speed_for_thrust_undoes_thrust(thrust: float, a: float) -> None:
    omega = propeller.speed_for_thrust(thrust, 0.12, 0.2, 1.2, a)
    assert propeller.thrust(omega, 0.12, 0.2, 1.2, a) == pytest.approx(thrust)


def test_tip_mach() -> None:
    # 340.29 m/s at 15 °C, dry (ICAO standard atmosphere); Cramer's fit is 0.05 m/s from it
    assert propeller.tip_mach(2.0 * 340.29 / 0.25, 0.25) == pytest.approx(1.0, abs=1e-3)


def test_uniform_rod_and_wall() -> None:
    assert propeller.inertia(0.012, 0.2, propeller.UNIFORM_ROD) == pytest.approx(0.012 * 0.2**2 / 12.0)
    assert propeller.ground_effect(0.2, 0.1) == pytest.approx(1.0 / (1.0 - 1.0 / 16.0))
    assert propeller.ground_effect(0.2, np.array([10.0]))[0] == pytest.approx(1.0, abs=1e-4)  # type: ignore[index]
    with pytest.raises(PhysicsError, match=r"clearance over diameter is 0\.1"):
        propeller.ground_effect(0.2, 0.02)
