"""The motor's formulas against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.physics import motor


def test_constants_of_an_ideal_machine_agree() -> None:
    # 1000 rpm/V is 104.72 rad/s per volt, and then 9.549 mN m per ampere
    assert motor.back_emf_constant(1000.0) == pytest.approx(9.5492966e-3)
    assert motor.torque_constant(1000.0) == motor.back_emf_constant(1000.0)
    assert motor.torque_constant(1000.0, 0.95) == pytest.approx(0.95 * 9.5492966e-3)


def test_torque_halves_at_the_saturation_current() -> None:
    linear = motor.shaft_torque(50.0, 100.0, 0.01, 1.0)
    assert motor.shaft_torque(50.0, 100.0, 0.01, 1.0, saturation_current=50.0) == pytest.approx(linear / 2.0)


@given(
    kv=st.floats(100.0, 5000.0),
    r=st.floats(0.005, 0.5),
    i_0=st.floats(0.0, 2.0),
    i_1=st.floats(0.0, 1e-3),
    i_2=st.floats(0.0, 1e-6),
    v=st.floats(3.0, 30.0),
)
def test_unloaded_motor_is_in_balance(
    kv: float, r: float, i_0: float, i_1: float, i_2: float, v: float
) -> None:
    k_e = motor.back_emf_constant(kv)
    omega = motor.no_load_speed(v, k_e, r, i_0, i_1, i_2)
    current = motor.no_load_current(kv, r, i_0, i_1, i_2, v)
    assert motor.terminal_voltage(current, omega, k_e, r) == pytest.approx(v, rel=1e-9)
    assert motor.shaft_torque(current, omega, 0.01, i_0, i_1, i_2) == pytest.approx(0.0, abs=1e-9)


def test_no_load_current_where_the_static_drag_holds_the_shaft() -> None:
    assert motor.no_load_speed(0.05, 0.01, 0.1, 1.0) == 0.0
    assert motor.no_load_current(1000.0, 0.1, 1.0, voltage=0.05) == pytest.approx(0.5)


def test_copper_and_magnet_at_100_degrees() -> None:
    assert motor.resistance_at(0.1, 125.0) == pytest.approx(0.1393)
    assert motor.resistance_from(motor.resistance_at(0.1, 70.0), 70.0) == pytest.approx(0.1)
    assert motor.magnet_factor(125.0) == pytest.approx(0.89)


def test_power_leaves_as_shaft_power_copper_and_iron_loss() -> None:
    k_e, r, current, omega = 0.01, 0.08, np.array([5.0, 20.0]), np.array([800.0, 1500.0])
    k_t = k_e
    electrical = motor.terminal_voltage(current, omega, k_e, r) * current
    shaft = motor.shaft_torque(current, omega, k_t, 0.5, 1e-4) * omega
    lost = motor.copper_loss(current, r) + motor.iron_loss(omega, k_t, 0.5, 1e-4)
    np.testing.assert_allclose(electrical, shaft + lost, rtol=1e-12)
    assert math.isclose(float(motor.saturation_factor(10.0)), 1.0)
