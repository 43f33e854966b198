"""Duty map, limit and braking."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.physics import controller
from motorfit.physics.regimes import duty_of


@given(s=st.floats(0.5, 1.5), c=st.floats(-0.5, 0.5), e=st.floats(-0.5, 0.5))
def test_full_throttle_is_full_duty(s: float, c: float, e: float) -> None:
    assert controller.duty(1.0, s, c, e) == 1.0
    assert 0.0 <= float(controller.duty(0.0, s, c, e)) <= 1.0


def test_affine_map() -> None:
    np.testing.assert_allclose(controller.duty(np.array([0.0, 0.25, 0.5, 1.0])), [0.0, 0.25, 0.5, 1.0])
    assert controller.duty(0.0, 1.2) == 0.0  # dead band at the foot
    assert controller.duty(0.5, 1.0, 0.2, 0.4) == pytest.approx(0.5 + 0.2 / 4)


@given(s=st.floats(0.0, 1.5), c=st.floats(-1.5, 1.5), e=st.floats(-1.5, 1.5))
def test_monotone_is_what_a_fine_grid_shows(s: float, c: float, e: float) -> None:
    x = np.linspace(0.0, 1.0, 4001)
    raw = 1.0 - s * (1.0 - x) + c * x * (1.0 - x) + e * x * (1.0 - x) * (1.0 - 2.0 * x)
    slope = s + c * (1.0 - 2.0 * x) + e * (1.0 - 6.0 * x + 6.0 * x * x)
    if abs(slope.min()) > 1e-6:  # a grid cannot settle a tie
        assert bool(controller.duty_is_monotone(s, c, e)) == bool(np.all(np.diff(raw) >= -1e-12))


def test_power_balances_at_the_limit() -> None:
    d = controller.limited_duty(40.0, 900.0, 0.01, 0.05, 0.006, 24.0)
    power_in = 24.0 * controller.bus_current(d, 40.0)
    assert power_in == pytest.approx(40.0 * (0.01 * 900.0 + 0.056 * 40.0))
    assert controller.motor_voltage(d, 24.0, 40.0, 0.006) == pytest.approx(0.01 * 900.0 + 0.05 * 40.0)


def test_only_braking_current_is_shared() -> None:
    np.testing.assert_array_equal(controller.braking_current(np.array([-10.0, 10.0]), 0.3), [-3.0, 10.0])


def test_supply_sags() -> None:
    assert controller.bus_voltage(25.2, 0.02, 60.0) == pytest.approx(24.0)


def test_no_throttle_is_no_drive() -> None:
    """Whatever the map would give there: a motor does not creep on a bench at rest."""
    assert controller.duty(0.0, 0.9) == 0.0
    assert controller.duty(1e-6, 0.9) == pytest.approx(0.1, abs=1e-5)
    assert duty_of(0.0, 0.9, 0.0, 0.0) == 0.0
    np.testing.assert_array_equal(controller.duty(np.array([0.0, 1.0]), 0.9), [0.0, 1.0])
