"""The reference path agrees with formulas and with the fast path."""

from __future__ import annotations

import numpy as np
import pytest

from motorfit.inference.ensemble import ENSEMBLES, EnsembleDraws, ensemble_draws
from motorfit.inference.fast import fast_draws
from tests.inference.toys import banana, banana_draws, optimum_of


@pytest.fixture(scope="module")
def walked() -> tuple[EnsembleDraws, list[float]]:
    target = banana()
    optimum = optimum_of(target, np.array([0.5, 0.0, 0.0, 0.0]))
    rng = np.random.default_rng(7)
    told: list[float] = []
    fast = fast_draws(target, optimum, rng, 2000)
    return ensemble_draws(target, fast, rng, 2000, most_steps=1500, progress=told.append), told


def test_moments(walked: tuple[EnsembleDraws, list[float]]) -> None:
    found, _ = walked
    exact = banana_draws(np.random.default_rng(8), 400_000)
    z = found.z.reshape(-1, 4)
    sd = exact.std(axis=0)
    np.testing.assert_allclose((z.mean(axis=0) - exact.mean(axis=0)) / sd, 0.0, atol=0.12)
    # a standard deviation of 1500 independent draws is as uncertain as the fourth moment makes it
    fourth = np.mean(((exact - exact.mean(axis=0)) / sd) ** 4, axis=0)
    assert np.all(np.abs(z.std(axis=0) / sd - 1.0) < 3.0 * np.sqrt((fourth - 1.0) / (4.0 * 1500.0)))
    assert z[:, 0].min() >= 0.0


def test_says_how_it_went(walked: tuple[EnsembleDraws, list[float]]) -> None:
    found, told = walked
    assert found.z.shape == (ENSEMBLES, 2000 // ENSEMBLES, 4)
    assert found.converged and found.r_hat <= 1.01
    assert found.steps > 50.0 * found.autocorrelation
    assert 0.2 < found.acceptance < 0.95
    assert told == sorted(told) and told[-1] == 1.0
    np.testing.assert_allclose(banana().log_density(found.z.reshape(-1, 4)), found.log_density.ravel())


def test_too_few_steps_are_said(walked: tuple[EnsembleDraws, list[float]]) -> None:
    target = banana()
    rng = np.random.default_rng(9)
    fast = fast_draws(target, optimum_of(target, np.array([0.5, 0.0, 0.0, 0.0])), rng, 400)
    short = ensemble_draws(target, fast, rng, 400, most_steps=100)
    assert not short.converged and short.steps < walked[0].steps + 1
