"""Gaussian and first-order Markov noise, where exact least squares says what the doubt must be."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.bench.noise import NoiseModel, block_moments, measure_noise
from motorfit.inference.fast import fast_draws
from motorfit.inference.target import Flat, whitening
from motorfit.physics.slots import MODE_DRIVEN, N_CHANNELS
from tests.inference.toys import gaussian, optimum_of

Array = npt.NDArray[np.float64]

SD, MEMORY_S, SECONDS = 0.7, 0.02, 10.0


def test_a_gaussian_is_recovered() -> None:
    rng = np.random.default_rng(1)
    d = 12
    root = rng.standard_normal((d, d)) * np.geomspace(1.0, 1e-3, d)
    cov = root @ root.T + 1e-8 * np.eye(d)
    mean = rng.standard_normal(d)
    target = gaussian(mean, cov, {})
    optimum = optimum_of(target, np.zeros(d))
    np.testing.assert_allclose(optimum.factor @ optimum.factor.T, cov, rtol=1e-3, atol=1e-6 * cov.max())
    fast = fast_draws(target, optimum, np.random.default_rng(2), 8000)
    z = fast.z.reshape(-1, d)
    assert fast.sound
    np.testing.assert_allclose(z.std(axis=0), np.sqrt(np.diag(cov)), rtol=0.05)
    assert (np.abs(z.mean(axis=0) - mean) < 5.0 * np.sqrt(np.diag(cov) / 4000.0)).all()
    whitener = np.linalg.inv(np.linalg.cholesky(cov))
    np.testing.assert_allclose(np.cov((z - mean) @ whitener.T, rowvar=False), np.eye(d), atol=0.09)


def _curves(t: Array) -> Array:
    """What is fitted: a level, a slope and a slow decay, (n, 3)."""
    return np.column_stack([np.ones_like(t), t / SECONDS, np.exp(-t / 1.5)])


def _exact(rate_hz: float) -> Array:
    """Standard deviations of the three by generalised least squares on every sample."""
    t = np.arange(0.0, SECONDS, 1.0 / rate_hz)
    phi = math.exp(-1.0 / rate_hz / MEMORY_S)
    x = _curves(t)
    white = np.concatenate([x[:1], (x[1:] - phi * x[:-1]) / math.sqrt(1.0 - phi**2)]) / SD
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(white.T @ white))))


def _by_blocks(rate_hz: float, length_s: float, noise: NoiseModel) -> Array:
    """The same from block means whitened as the likelihood does."""
    t = np.arange(0.0, SECONDS, 1.0 / rate_hz)
    each = round(length_s * rate_hz)
    n = t.size // each
    variance, covariance = block_moments(noise, np.full(n, float(each)), 1.0 / rate_hz)
    x = _curves(t[: n * each]).reshape(n, each, 3).mean(axis=1)
    none = np.full((n, N_CHANNELS), np.nan)
    y, v, c = none.copy(), none.copy(), np.zeros((n, N_CHANNELS))
    y[:, 0], v[:, 0], c[:, 0] = 0.0, variance, covariance
    zero = np.zeros(n)
    first, mode = np.array([0, n]), np.array([MODE_DRIVEN])
    flat = Flat(first, mode, np.full(n, length_s), zero, zero, zero, zero, zero, y, v, c)
    isd, phi = whitening(flat)
    before = np.concatenate([np.zeros((1, 3)), x[:-1]])
    white = (x - phi[:, :1] * before) * isd[:, :1]
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(white.T @ white))))


@pytest.mark.parametrize(("length_s", "most"), [(0.02, 1.13), (0.06, 1.055), (0.2, 1.02)])
@pytest.mark.parametrize("rate_hz", [100.0, 1000.0, 10_000.0])
def test_blocks_have_the_doubt_of_exact_least_squares(rate_hz: float, length_s: float, most: float) -> None:
    """Never less. A little more: means of a Markov process are not quite one, most so at the length of its
    memory."""
    found = _by_blocks(rate_hz, length_s, NoiseModel(SD, MEMORY_S, 0.0))
    ratio = found / _exact(rate_hz)
    assert ratio.min() > 0.99 and ratio.max() < most


def test_the_rate_of_sampling_does_not_matter() -> None:
    """Noise of one bandwidth: a hundred times the samples teach next to nothing more."""
    coarse, fine = (_by_blocks(rate, 0.06, NoiseModel(SD, MEMORY_S, 0.0)) for rate in (100.0, 10_000.0))
    np.testing.assert_allclose(fine, coarse, rtol=0.06)
    naive = fine / np.sqrt(2.0 * MEMORY_S * 10_000.0)  # what √N of independent samples would claim
    assert (naive < 0.1 * coarse).all()


def test_the_rate_does_not_matter_with_measured_noise() -> None:
    """The same log read at 10 kHz and every hundredth sample of it: the noise measured gives one doubt."""
    rng = np.random.default_rng(4)
    n = round(SECONDS * 10_000.0)
    phi = math.exp(-1e-4 / MEMORY_S)
    kicks = SD * math.sqrt(1.0 - phi**2) * rng.standard_normal(n)
    kicks[0] = SD * rng.standard_normal()
    log = np.empty(n)
    log[0] = kicks[0]
    for k in range(1, n):
        log[k] = phi * log[k - 1] + kicks[k]
    log += _curves(np.linspace(0.0, SECONDS, n, endpoint=False)) @ np.array([5.0, 1.0, 0.5])
    fine = measure_noise(log, 1e-4, np.ones(n, dtype=np.bool_))
    coarse = measure_noise(log[::100], 1e-2, np.ones(n // 100, dtype=np.bool_))
    doubt = [_by_blocks(10_000.0, 0.06, fine), _by_blocks(100.0, 0.06, coarse)]
    np.testing.assert_allclose(doubt[0], doubt[1], rtol=0.2)
    np.testing.assert_allclose(doubt[0], _exact(10_000.0), rtol=0.2)
