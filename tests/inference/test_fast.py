"""The fast path on densities that are known by formula."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from motorfit.inference.diagnostics import walked_ess
from motorfit.inference.fast import FastDraws, fast_draws, k_threshold, smooth_weights
from motorfit.inference.swarm import GROUPS, effective
from tests.inference.toys import banana, banana_draws, gaussian, optimum_of

DRAWS = 4000


@pytest.mark.parametrize(("draws", "limit"), [(100, 0.5), (1000, 2 / 3), (2000, 0.69707), (4000, 0.7)])
def test_threshold(draws: int, limit: float) -> None:
    assert k_threshold(draws) == pytest.approx(limit, abs=1e-5)


@pytest.mark.parametrize("k", [0.3, 0.5, 0.9])
def test_shape_of_known_tails(rng: np.random.Generator, k: float) -> None:
    """Weights with a generalised Pareto tail of shape k: k̂ finds it, and smoothing keeps normalisation."""
    found = []
    for _ in range(20):
        weight = stats.genpareto(k).rvs(4000, random_state=rng) + 1.0
        smoothed, shape = smooth_weights(np.log(weight))
        found.append(shape)
        assert float(np.exp(smoothed).sum()) == pytest.approx(1.0)
    assert np.mean(found) == pytest.approx(k, abs=0.08)


def test_smoothing_passes_impossible_draws(rng: np.random.Generator) -> None:
    log_weight = 0.3 * rng.standard_normal(2000)
    log_weight[::50] = -np.inf
    smoothed, k = smooth_weights(log_weight)
    assert k < 0.5 and np.isfinite(smoothed).all()
    assert float(np.exp(smoothed[::50]).sum()) < 1e-12


def test_effective_size() -> None:
    assert effective(np.full(50, -700.0)) == pytest.approx(50.0)
    assert effective(np.log([1.0, 1.0, 1e-12])) == pytest.approx(2.0)


@pytest.fixture(scope="module")
def bent() -> FastDraws:
    target = banana()
    return fast_draws(
        target, optimum_of(target, np.array([0.5, 0.0, 0.0, 0.0])), np.random.default_rng(3), DRAWS
    )


def test_moments_of_a_banana(bent: FastDraws) -> None:
    assert bent.sound and bent.stages == 1 and bent.pareto_k < 0.5
    assert bent.z.shape == (GROUPS, DRAWS // GROUPS, 4) and bent.log_density.shape == bent.z.shape[:2]
    exact = banana_draws(np.random.default_rng(4), 400_000)
    z = bent.z.reshape(-1, 4)
    error = exact.std(axis=0) / math.sqrt(min(bent.ess, DRAWS))
    assert (np.abs(z.mean(axis=0) - exact.mean(axis=0)) < 4.5 * error).all()
    np.testing.assert_allclose(z.std(axis=0), exact.std(axis=0), rtol=0.08)
    assert z[:, 0].min() >= 0.0
    for column in range(4):
        assert stats.kstest(z[::4, column], exact[::40, column]).pvalue > 1e-3


def test_draws_carry_their_density_and_normals(bent: FastDraws) -> None:
    flat = bent.z.reshape(-1, 4)
    np.testing.assert_allclose(banana().log_density(flat), bent.log_density.ravel(), atol=1e-9)
    again = bent.proposal.draw(bent.normal.reshape(-1, bent.proposal.normals)).z
    np.testing.assert_allclose(again, flat, atol=1e-9)


def test_a_wide_proposal_costs_only_draws() -> None:
    """An optimum that claims half as much again as the widths: moments are right all the same."""
    mean, cov = np.array([0.5, -1.0, 2.0]), np.array([[1.0, 0.5, 0.0], [0.5, 2.0, 0.8], [0.0, 0.8, 1.5]])
    target = gaussian(mean, cov, {0: np.inf})
    good = optimum_of(target, np.array([0.5, 0.0, 0.0]))
    found = fast_draws(target, replace(good, factor=1.5 * good.factor), np.random.default_rng(5), DRAWS)
    exact = np.random.default_rng(6).multivariate_normal(mean, cov, 400_000)
    exact = exact[exact[:, 0] >= 0.0]
    z = found.z.reshape(-1, 3)
    assert found.sound
    np.testing.assert_allclose(z.mean(axis=0), exact.mean(axis=0), atol=0.12)
    np.testing.assert_allclose(z.std(axis=0), exact.std(axis=0), rtol=0.08)


def test_same_generator_same_draws() -> None:
    target = banana()
    optimum = optimum_of(target, np.array([0.5, 0.0, 0.0, 0.0]))
    first, again, other = (fast_draws(target, optimum, np.random.default_rng(s), 400).z for s in (1, 1, 2))
    np.testing.assert_array_equal(first, again)
    assert (first != other).any()


@pytest.mark.parametrize("rho", [0.0, 0.6, 0.95])
def test_stations_of_a_walk_count_by_their_correlation(rho: float) -> None:
    rng = np.random.default_rng(6)
    way = [rng.standard_normal((4, 500, 3))]
    for _ in range(3):
        way.append(rho * way[-1] + np.sqrt(1.0 - rho**2) * rng.standard_normal((4, 500, 3)))
    spread = 1.0 + 2.0 * sum((1.0 - k / 4.0) * rho**k for k in (1, 2, 3))
    assert walked_ess(np.concatenate(way, axis=1), 4) == pytest.approx(8000.0 / spread, rel=0.1)


def test_nothing_possible_is_no_effective_draw() -> None:
    lost = np.full(50, -np.inf)
    assert effective(lost) == 0.0
    smoothed, k = smooth_weights(lost)
    assert k == np.inf and np.isfinite(smoothed).all()


@pytest.mark.parametrize("changes", [{"r_hat": np.inf}, {"ess": np.nan}, {"r_hat": 1.2}, {"pareto_k": 0.9}])
def test_collapsed_draws_are_not_sound(changes: dict[str, float]) -> None:
    zeros = np.zeros((4, 1000, 2))
    good = FastDraws(
        zeros,
        zeros,
        zeros[..., 0],
        0.3,
        900.0,
        1,
        1.0,
        1.003,
        False,
        1,
        8000,
        None,  # type: ignore[arg-type]
    )
    assert good.sound
    assert not replace(good, **changes).sound  # type: ignore[arg-type]
