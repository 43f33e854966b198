"""Moist air against printed values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.physics.air import air_density, saturation_vapour_pressure, speed_of_sound
from motorfit.physics.values import PhysicsError

# IEC 61094-2:2009, table F.1: temperature °C, pressure Pa, humidity %, density kg/m³, speed of sound m/s
IEC_TABLE_F1 = [
    (23.0, 101_325.0, 50.0, 1.1860848, 345.86652),
    (20.0, 80_000.0, 65.0, 0.9441589, 344.38267),
]


@pytest.mark.parametrize(("t", "p", "h", "rho", "c"), IEC_TABLE_F1)
def test_density_and_speed_of_sound_reproduce_the_last_printed_figure(
    t: float, p: float, h: float, rho: float, c: float
) -> None:
    assert air_density(t, p / 100.0, h) == pytest.approx(rho, abs=0.6e-7)
    assert speed_of_sound(t, p / 100.0, h) == pytest.approx(c, abs=0.6e-5)


@pytest.mark.parametrize("t", [10.0, 15.0, 20.0, 25.0, 30.0])
@pytest.mark.parametrize("p", [900.0, 1000.0, 1100.0])
@pytest.mark.parametrize("h", [20.0, 50.0, 80.0])
def test_agrees_with_the_approximation_of_oiml_r111(t: float, p: float, h: float) -> None:
    # OIML R 111-1 (2004), E.3: within 2e-4 of the CIPM formula over 900..1100 hPa, 10..30 °C, below 80 %
    approximate = (0.34848 * p - 0.009 * h * np.exp(0.061 * t)) / (273.15 + t)
    assert air_density(t, p, h) == pytest.approx(approximate, rel=3e-4)


def test_vapour_pressure_at_the_boiling_and_triple_points() -> None:
    assert saturation_vapour_pressure(100.0) == pytest.approx(101_325.0, rel=3e-3)
    assert saturation_vapour_pressure(0.01) == pytest.approx(611.657, rel=1e-3)


@given(t=st.floats(-20.0, 50.0), p=st.floats(600.0, 1100.0), h=st.floats(0.0, 95.0), more=st.floats(0.1, 5.0))
def test_warm_thin_and_damp_air_is_lighter(t: float, p: float, h: float, more: float) -> None:
    rho = air_density(t, p, h)
    assert air_density(t + more, p, h) < rho
    assert air_density(t, p - more, h) < rho
    assert air_density(t, p, h + more) < rho


def test_arrays_broadcast() -> None:
    rho = air_density(np.array([[10.0], [20.0]]), np.array([990.0, 1000.0, 1010.0]), 50.0)
    assert np.shape(rho) == (2, 3)


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        ((293.15, 1013.0, 50.0), ("air temperature", "293.15", "-40 to 60 °C", "°C")),
        ((20.0, 101_325.0, 50.0), ("air pressure", "101325", "300 to 1150 hPa", "1 hPa = 100 Pa")),
        ((20.0, 1013.0, -0.5), ("relative humidity", "-0.5", "0 to 100 %", "per cent")),
        ((float("nan"), 1013.0, 50.0), ("air temperature", "nan")),
    ],
)
def test_wrong_units_are_named(arguments: tuple[float, float, float], parts: tuple[str, ...]) -> None:
    with pytest.raises(PhysicsError) as caught:
        air_density(*arguments)
    for part in parts:
        assert part in str(caught.value)
