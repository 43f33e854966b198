"""Thermal network against a fine integration, battery pack against its own definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from motorfit.physics.heat import heat_step, settled, time_to_temperature
from motorfit.physics.pack import Pack, cell_open_circuit_voltage, cold_factor
from motorfit.physics.values import PhysicsError

NETWORK = (6.0, 6.0, 25.0, 60.0)  # C_w J/K, τ_w s, C_b J/K, τ_b s


@given(
    c_w=st.floats(0.5, 20.0),
    tau_w=st.floats(1.0, 30.0),
    c_b=st.floats(5.0, 100.0),
    tau_b=st.floats(10.0, 400.0),
)
def test_one_long_step_is_many_short_ones(c_w: float, tau_w: float, c_b: float, tau_b: float) -> None:
    network = (c_w, tau_w, c_b, tau_b)
    once = heat_step(40.0, 30.0, 20.0, 50.0, 8.0, *network, 25.0)
    w: float | np.ndarray = 40.0
    b: float | np.ndarray = 30.0
    for _ in range(100):
        w, b = heat_step(w, b, 20.0, 50.0, 8.0, *network, 0.25)
    np.testing.assert_allclose(np.asarray(once), np.asarray((w, b)), rtol=1e-9)


def test_step_solves_the_differential_equations() -> None:
    c_w, tau_w, c_b, tau_b = NETWORK

    def slope(_t: float, y: np.ndarray) -> list[float]:
        flow = c_w / tau_w * (y[0] - y[1])
        return [(50.0 - flow) / c_w, (8.0 + flow - c_b / tau_b * (y[1] - 20.0)) / c_b]

    exact = solve_ivp(slope, (0.0, 17.0), [40.0, 30.0], rtol=1e-10, atol=1e-10).y[:, -1]
    stepped = np.asarray(heat_step(40.0, 30.0, 20.0, 50.0, 8.0, *NETWORK, 17.0))
    np.testing.assert_allclose(stepped, exact, rtol=1e-7)


def test_settles_where_heat_in_is_heat_out() -> None:
    w, b = settled(20.0, 50.0, 8.0, *NETWORK)
    assert b == pytest.approx(20.0 + 58.0 * 60.0 / 25.0)
    assert w - b == pytest.approx(50.0)
    late = heat_step(40.0, 30.0, 20.0, 50.0, 8.0, *NETWORK, 1e5)
    np.testing.assert_allclose(np.asarray(late), np.asarray((w, b)))


def test_time_to_a_limit() -> None:
    assert time_to_temperature(20.0, 120.0, 70.0, 10.0) == pytest.approx(10.0 * math.log(2.0))
    assert time_to_temperature(20.0, 60.0, 70.0, 10.0) == math.inf
    assert time_to_temperature(80.0, 60.0, 70.0, 10.0) == 0.0


@given(a=st.floats(0.0, 1.0), b=st.floats(0.0, 1.0))
def test_fuller_cells_stand_higher(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert cell_open_circuit_voltage(low) <= cell_open_circuit_voltage(high)


def test_cold_doubles_the_resistance() -> None:
    assert cold_factor(25.0) == pytest.approx(1.0)
    assert 1.9 < float(cold_factor(0.0)) < 2.3
    pack = Pack(cells=6, capacity_mah=5000.0, cell_resistance_ohm=0.002, lead_resistance_ohm=0.0)
    assert pack.resistance() == pytest.approx(0.012)
    assert pack.voltage(1.0, 50.0) == pytest.approx(6 * 4.2 - 50.0 * 0.012)


def test_power_and_collapse() -> None:
    pack = Pack(cells=4, capacity_mah=1500.0)
    current = pack.current_for_power(300.0, 0.5)
    assert pack.voltage(0.5, current) * current == pytest.approx(300.0)
    top = pack.largest_power(0.5)
    assert math.isnan(float(pack.current_for_power(top * 1.01, 0.5)))


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        ({"cells": 0, "capacity_mah": 1500.0}, ("cells is 0", "1 to 28")),
        ({"cells": 4, "capacity_mah": 1.5}, ("capacity_mah", "1.5", "1 A h = 1000 mA h")),
        ({"cells": 4, "capacity_mah": 1500.0, "cell_resistance_ohm": 8.0}, ("not milliohms",)),
    ],
)
def test_impossible_packs(arguments: dict[str, float], parts: tuple[str, ...]) -> None:
    with pytest.raises(PhysicsError) as caught:
        Pack(**arguments)  # type: ignore[arg-type]
    for part in parts:
        assert part in str(caught.value)
