"""The supply behind a logged voltage: learned where it is stiff or sags, left alone where it folds back."""

from __future__ import annotations

import numpy as np
import pytest

from motorfit.bench.supply import Supply, learn_supply
from tests.bench.series import Array

BLOCKS = 240
TIME = np.linspace(0.0, 24.0, BLOCKS)
CURRENT = np.repeat([2.0, 15.0, 30.0, 8.0, 22.0, 5.0], BLOCKS // 6)
NOISE = 0.02


def learned(voltage: Array, current: Array | None = CURRENT, sd: float = NOISE) -> Supply:
    mean = {"voltage": voltage}
    if current is not None:
        mean["current"] = current
    variance = {name: np.full(BLOCKS, sd**2) for name in mean}
    return learn_supply(TIME, mean, variance, {name: np.zeros(BLOCKS) for name in mean})


def test_doubt_of_the_sag_holds_it(rng: np.random.Generator) -> None:
    apart = []
    for _ in range(200):
        supply = learned(16.6 - 0.02 * CURRENT + NOISE * rng.standard_normal(BLOCKS))
        apart.append((supply.resistance_ohm - 0.02) / supply.resistance_sd_ohm)
    assert 0.8 < np.std(apart) < 1.2


def test_doubts_of_level_drift_and_sag_are_independent_and_hold_them(rng: np.random.Generator) -> None:
    apart = []
    for _ in range(300):
        supply = learned(16.6 - 0.01 * TIME - 0.02 * CURRENT + NOISE * rng.standard_normal(BLOCKS))
        stiffer = 0.02 - supply.resistance_ohm
        off = (
            16.6
            - 0.01 * TIME
            - supply.open_circuit_v
            - stiffer * (supply.level_a + supply.drift_a * supply.along)
        )
        drift, level = np.polyfit(supply.along, off, 1)
        apart.append(
            (stiffer / supply.resistance_sd_ohm, level / supply.level_sd_v, drift / supply.drift_sd_v)
        )
    np.testing.assert_allclose(np.std(apart, axis=0), 1.0, atol=0.15)
    np.testing.assert_allclose(np.corrcoef(apart, rowvar=False), np.eye(3), atol=0.2)


def test_a_doubt_of_timing_is_a_doubt_of_the_sag(rng: np.random.Generator) -> None:
    voltage = 16.6 - 0.02 * CURRENT + NOISE * rng.standard_normal(BLOCKS)
    mean = {"voltage": voltage, "current": CURRENT}
    variance = {name: np.full(BLOCKS, NOISE**2) for name in mean}
    covariance = {name: np.zeros(BLOCKS) for name in mean}
    sure = learn_supply(TIME, mean, variance, covariance)
    moved = (voltage + 0.002 * CURRENT, voltage - 0.002 * CURRENT)
    unsure = learn_supply(TIME, mean, variance, covariance, moved)
    assert unsure.resistance_ohm == sure.resistance_ohm
    wanted = np.hypot(sure.resistance_sd_ohm, 0.004 / np.sqrt(12.0))
    assert unsure.resistance_sd_ohm == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize("resistance", [0.0, 0.01, 0.05])
def test_sagging_supply_is_learned(rng: np.random.Generator, resistance: float) -> None:
    source = 16.6 - 0.01 * TIME
    supply = learned(source - resistance * CURRENT + NOISE * rng.standard_normal(BLOCKS))
    error = NOISE / np.sqrt(np.sum((CURRENT - CURRENT.mean()) ** 2))
    assert supply.learned
    assert supply.resistance_ohm >= 0.0
    assert supply.resistance_ohm == pytest.approx(resistance, abs=4.0 * error)
    # a line of three coefficients leaves √(3/n) of the noise
    apart = supply.open_circuit_v - source
    assert np.sqrt(np.mean(apart**2)) < 4.0 * NOISE * np.sqrt(3.0 / BLOCKS)


def test_slow_wander_is_followed_and_noise_is_not(rng: np.random.Generator) -> None:
    source = 16.0 + 0.1 * np.sin(2.0 * np.pi * TIME / 24.0)
    supply = learned(source - 0.02 * CURRENT + NOISE * rng.standard_normal(BLOCKS))
    assert supply.learned
    assert supply.resistance_ohm == pytest.approx(0.02, abs=4e-3)
    bus = supply.open_circuit_v - supply.resistance_ohm * CURRENT
    assert np.sqrt(np.mean((bus - (source - 0.02 * CURRENT)) ** 2)) < 0.6 * NOISE


def test_some_wild_blocks_do_not_count(rng: np.random.Generator) -> None:
    voltage = 16.0 - 0.03 * CURRENT + NOISE * rng.standard_normal(BLOCKS)
    voltage[[20, 90, 170]] -= 0.4
    voltage[[50, 51]] = np.nan
    supply = learned(voltage)
    assert supply.learned
    assert supply.resistance_ohm == pytest.approx(0.03, abs=1e-3)
    assert np.all(np.isfinite(supply.open_circuit_v))


def test_supply_that_folds_back_is_taken_as_logged(rng: np.random.Generator) -> None:
    # regulated to 12 V below 20 A, and beyond that the current is held and the voltage gives way
    demand = 12.0 + 10.0 * np.abs(np.sin(2.0 * np.pi * TIME / 8.0))
    voltage = np.where(demand > 20.0, 12.0 - 1.5 * (demand - 20.0), 12.0)
    logged = voltage + 5e-3 * rng.standard_normal(BLOCKS)
    supply = learned(logged, np.minimum(demand, 20.0), 5e-3)
    assert not supply.learned
    assert supply.resistance_ohm == 0.0
    np.testing.assert_array_equal(supply.open_circuit_v, logged)


def test_gaps_in_a_voltage_taken_as_logged_are_bridged() -> None:
    voltage = np.where(np.arange(BLOCKS) % 2 == 0, 12.0, 9.0)
    voltage[100] = np.nan
    supply = learned(voltage, None, 1e-3)
    assert not supply.learned
    assert supply.open_circuit_v[100] == pytest.approx(9.0)
    np.testing.assert_array_equal(np.delete(supply.open_circuit_v, 100), np.delete(voltage, 100))


def test_without_a_current_channel_only_the_drift_is_learned(rng: np.random.Generator) -> None:
    supply = learned(24.0 - 0.02 * TIME + NOISE * rng.standard_normal(BLOCKS), None)
    assert supply.learned
    assert supply.resistance_ohm == 0.0
    np.testing.assert_allclose(
        supply.open_circuit_v, 24.0 - 0.02 * TIME, atol=4.0 * NOISE * np.sqrt(3.0 / BLOCKS)
    )


def test_voltage_that_rises_with_current_is_no_negative_resistance(rng: np.random.Generator) -> None:
    supply = learned(12.0 + 0.002 * CURRENT + NOISE * rng.standard_normal(BLOCKS))
    assert supply.resistance_ohm == 0.0


def test_too_few_blocks_to_learn_from() -> None:
    voltage = np.full(BLOCKS, np.nan)
    voltage[:5] = 12.0
    supply = learned(voltage)
    assert not supply.learned
    np.testing.assert_allclose(supply.open_circuit_v, 12.0)
