"""Noise with memory: what a block mean of it is worth, and whether a log gives it away."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.bench.noise import NoiseModel, block_moments, measure_noise
from tests.bench.series import Array, remembering_noise

COUNTS = np.array([1.0, 1.0, 2.0, 5.0, 12.0, 19.0])


def exact_moments(noise: NoiseModel, counts: Array, dt_s: float) -> tuple[Array, Array]:
    """Variance of block means and covariance with the block before, from the covariance of all samples."""
    n = int(counts.sum())
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) * dt_s
    samples = noise.sd**2 * np.exp(-apart / noise.memory_s) + noise.white_sd**2 * np.eye(n)
    owner = np.repeat(np.arange(counts.size), counts.astype(int))
    average = (owner == np.arange(counts.size)[:, None]) / counts[:, None]
    blocks = average @ samples @ average.T
    return np.diag(blocks), np.concatenate(([0.0], np.diag(blocks, -1)))


@given(
    sd=st.floats(0.0, 10.0),
    white_sd=st.floats(1e-3, 10.0),
    memory=st.floats(0.05, 3000.0),
    counts=st.lists(st.integers(1, 40), min_size=1, max_size=6),
)
def test_moments_of_block_means_are_exact(
    sd: float, white_sd: float, memory: float, counts: list[int]
) -> None:
    dt = 2e-3
    noise = NoiseModel(sd, memory * dt, white_sd)
    m = np.asarray(counts, dtype=np.float64)
    variance, covariance = block_moments(noise, m, dt)
    exact_variance, exact_covariance = exact_moments(noise, m, dt)
    np.testing.assert_allclose(variance, exact_variance, rtol=1e-6)
    np.testing.assert_allclose(covariance, exact_covariance, rtol=1e-6, atol=1e-12)


@pytest.mark.parametrize("memory_s", [2e-3, 8e-3, 40e-3])
def test_moments_of_block_means_are_those_of_many_series(rng: np.random.Generator, memory_s: float) -> None:
    dt, many = 1e-3, 20000
    noise = NoiseModel(0.7, memory_s, 0.4)
    series = remembering_noise(rng, (many, int(COUNTS.sum())), dt, noise.sd, noise.memory_s, noise.white_sd)
    starts = np.concatenate(([0], np.cumsum(COUNTS)[:-1])).astype(int)
    means = np.add.reduceat(series, starts, axis=1) / COUNTS
    variance, covariance = block_moments(noise, COUNTS, dt)
    np.testing.assert_allclose(np.mean(means**2, axis=0), variance, rtol=5.0 * np.sqrt(2.0 / many))
    products = means[:, 1:] * means[:, :-1]
    within = 5.0 * products.std(axis=0) / np.sqrt(many)
    assert np.all(np.abs(products.mean(axis=0) - covariance[1:]) < within)
    assert covariance[0] == 0.0


def test_memory_makes_a_block_mean_worth_fewer_samples() -> None:
    variance, _ = block_moments(NoiseModel(1.0, 0.01, 0.0), np.array([1000.0]), 1e-3)
    # a long mean of a process with memory τ has variance 2 τ/T
    assert variance[0] == pytest.approx(2.0 * 0.01 / 1.0, rel=0.02)
    independent, _ = block_moments(NoiseModel(1.0, 1e-6, 0.0), np.array([1000.0]), 1e-3)
    assert independent[0] == pytest.approx(1e-3)


@pytest.mark.parametrize("white_sd", [0.0, 0.03])
@pytest.mark.parametrize("rate_hz", [200.0, 1000.0, 5000.0])
def test_noise_is_recovered_at_any_rate(rng: np.random.Generator, rate_hz: float, white_sd: float) -> None:
    n, dt = round(20.0 * rate_hz), 1.0 / rate_hz
    values = 50.0 + remembering_noise(rng, (n,), dt, 0.05, 8e-3, white_sd)
    noise = measure_noise(values, dt, np.ones(n, dtype=np.bool_))
    assert noise.sd == pytest.approx(0.05, rel=0.12)
    assert noise.memory_s == pytest.approx(8e-3, rel=0.3)
    assert np.hypot(noise.sd, noise.white_sd) == pytest.approx(np.hypot(0.05, white_sd), rel=0.08)
    # what counts in the end: the doubt of a 60 ms mean
    m = np.array([60e-3 / dt])
    got, _ = block_moments(noise, m, dt)
    wanted, _ = block_moments(NoiseModel(0.05, 8e-3, white_sd), m, dt)
    assert np.sqrt(got[0]) == pytest.approx(np.sqrt(wanted[0]), rel=0.15)


def test_slow_trends_gaps_and_lone_spikes_are_not_noise(rng: np.random.Generator) -> None:
    n, dt = 4000, 5e-3
    t = np.arange(n) * dt
    clean = remembering_noise(rng, (n,), dt, 0.05, 8e-3)
    quiet = np.ones(n, dtype=np.bool_)
    plain = measure_noise(clean, dt, quiet)
    values = clean + 12.0 + 0.4 * np.sin(0.7 * t)
    values[rng.choice(n, 20, replace=False)] += 5.0
    values[700:1100] = np.nan
    values[2000:2040] += 3.0  # a transient that passes
    quiet[1990:2050] = False
    noise = measure_noise(values, dt, quiet)
    assert np.hypot(noise.sd, noise.white_sd) < 2.0 * np.hypot(plain.sd, plain.white_sd)
    assert np.hypot(noise.sd, noise.white_sd) > 0.9 * np.hypot(plain.sd, plain.white_sd)


@pytest.mark.parametrize("spread", [1e-3, 0.05, 0.3])
def test_quantised_channel_is_never_more_certain_than_its_step(
    rng: np.random.Generator, spread: float
) -> None:
    step = 0.1
    values = step * np.round((12.33 + spread * rng.standard_normal(3000)) / step)
    noise = measure_noise(values, 0.01, np.ones(3000, dtype=np.bool_))
    if np.unique(values).size > 1:
        assert noise.white_sd >= step / np.sqrt(12.0) * (1.0 - 1e-9)
    assert min(noise.sd, noise.white_sd) > 1e-3
    assert np.hypot(noise.sd, noise.white_sd) == pytest.approx(
        np.hypot(spread, step / np.sqrt(12.0)), abs=0.06
    )


@pytest.mark.parametrize("values", [np.zeros(500), np.full(500, 7.0), np.full(500, np.nan), np.arange(5.0)])
def test_noise_is_never_nothing(values: Array) -> None:
    noise = measure_noise(values, 0.01, np.ones(values.size, dtype=np.bool_))
    for part in (noise.sd, noise.memory_s, noise.white_sd):
        assert np.isfinite(part)
        assert part > 0.0
