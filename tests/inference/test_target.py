"""The posterior density: its two forms, its ends, and what is integrated out of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import integrate, stats

from motorfit.inference.combine import combined_terms
from motorfit.inference.graph import MEASURED
from motorfit.inference.optimum import Optimum
from motorfit.inference.priors import BELIEFS, HalfNormal
from motorfit.inference.slow_error import SlowError, columns, slow_error
from motorfit.inference.target import Target
from motorfit.physics.slots import C_DUTY, MODE_AT_SPEED, N_CHANNELS

Array = npt.NDArray[np.float64]
Learned = tuple[Target, Optimum]

_GAMMA_SHAPE = 0.9
"""Of the variance of steady rows: trigamma(0.9) is near (2 ln 2)²."""


def _nearby(learned: Learned, count: int = 12, share: float = 0.3) -> Array:
    """Positions about the optimum, away from bounds."""
    target, optimum = learned
    rng = np.random.default_rng(8)
    z = optimum.z + share * rng.standard_normal((count, optimum.z.size)) @ optimum.factor.T
    for i, c in enumerate(target.graph.coordinates):
        if isinstance(c.prior, HalfNormal):
            z[:, i] = np.clip(z[:, i], 0.01, min(c.prior.top, 10.0) - 0.01)
    return np.asarray(z)


def test_residuals_square_to_the_density(learned: Learned) -> None:
    target, _ = learned
    z = _nearby(learned)
    _, jacobian = combined_terms(target.graph, target.values(z))
    gap = target.log_density(z) - jacobian + 0.5 * np.sum(target.residuals(z) ** 2, axis=1)
    np.testing.assert_allclose(gap, gap[0], atol=1e-6)
    assert np.ptp(target.log_density(z)) > 1.0


def test_the_optimum_is_one(learned: Learned) -> None:
    target, optimum = learned
    best = float(np.sum(target.residuals(optimum.z[None, :]) ** 2))
    assert best == pytest.approx(optimum.chi2)
    assert (np.sum(target.residuals(_nearby(learned)) ** 2, axis=1) > best - 1e-3).all()


def test_one_draw_or_many_are_the_same(learned: Learned) -> None:
    target, _ = learned
    z = _nearby(learned, 9)
    single = np.concatenate([target.log_density(row[None, :]) for row in z])
    np.testing.assert_array_equal(target.log_density(z), single)


def test_outside_a_bound_is_impossible(learned: Learned) -> None:
    target, optimum = learned
    count = 0
    for i, c in enumerate(target.graph.coordinates):
        if not isinstance(c.prior, HalfNormal):
            continue
        z = _nearby(learned, 2)
        z[0, i] = -1e-6
        z[1, i] = c.prior.top + 1e-6 if math.isfinite(c.prior.top) else -1.0
        assert np.isneginf(target.log_density(z)).all(), c.name
        count += 1
    assert count >= 5 and np.isfinite(target.log_density(np.maximum(optimum.z, 0.0)[None, :] * 0.0)).all()


@pytest.mark.parametrize("name", ["total_resistance[motor-1]", "torque_coefficient[prop-a]"])
def test_impossible_values_are_impossible(learned: Learned, name: str) -> None:
    target, _ = learned
    z = _nearby(learned, 1)
    z[0, target.graph.index[name]] = -30.0  # a resistance below the controller's; a figure of merit above 1
    assert np.isneginf(target.log_density(z)).all()


def test_scatter_of_steady_rows_is_integrated(learned: Learned) -> None:
    target, _ = learned
    at_speed = np.repeat(target.flat.mode == MODE_AT_SPEED, np.diff(target.flat.first))
    belief = BELIEFS["row_scatter"]
    for c, name in enumerate((*MEASURED, "duty")):
        rows = int(np.count_nonzero(target.isd[at_speed, c]))
        if rows == 0:
            assert target.scatter[0, c] == 0.0
            continue
        beta = 0.5 * target.scatter[1, c]
        known = stats.invgamma(_GAMMA_SHAPE, scale=beta)

        def marginal(power: float, n: int = rows, belief_of: float = beta) -> float:
            def integrand(log_variance: float) -> float:
                v = math.exp(log_variance)
                prior = -_GAMMA_SHAPE * log_variance - belief_of / v
                return math.exp(prior - 0.5 * n * log_variance - 0.5 * power / v + offset)

            # a constant that keeps the integrand near one
            peak = math.log((belief_of + 0.5 * power) / (_GAMMA_SHAPE + 0.5 * n))
            offset = (_GAMMA_SHAPE + 0.5 * n) * (peak + 1.0)
            value, _ = integrate.quad(integrand, peak - 12.0, peak + 12.0, points=[peak], limit=200)
            return math.log(value) - offset

        powers = rows * belief.center**2 * np.array([0.1, 1.0, 4.0])
        student = -0.5 * target.scatter[0, c] * np.log1p(powers / target.scatter[1, c])
        found = [marginal(p) for p in powers]
        np.testing.assert_allclose(student - student[0], np.array(found) - found[0], rtol=1e-6, err_msg=name)
        log_sd = 0.5 * np.log(known.rvs(40000, random_state=np.random.default_rng(c)))
        assert log_sd.mean() == pytest.approx(math.log(belief.center), abs=0.02)
        assert log_sd.std() == pytest.approx(belief.spread, rel=0.03)


def test_the_kernel_uses_that_marginal(learned: Learned) -> None:
    target, _ = learned
    # log-likelihood by hand from the residuals of a target whose rows have unit scatter
    plain = replace(target, scatter=np.zeros_like(target.scatter))
    z = _nearby(learned, 4)
    rows = target.residuals(z)[:, : target.data_rows]
    unit = plain.residuals(z)[:, : plain.data_rows]
    at_speed = np.repeat(target.flat.mode == MODE_AT_SPEED, np.diff(target.flat.first))
    for c in range(N_CHANNELS):
        slots = target.slot[at_speed, c]
        slots = slots[slots >= 0]
        if slots.size == 0:
            continue
        power = np.sum(unit[:, slots] ** 2, axis=1)
        expected = target.scatter[0, c] * np.log1p(power / target.scatter[1, c])
        np.testing.assert_allclose(np.sum(rows[:, slots] ** 2, axis=1), expected, rtol=1e-9)


def _dense(target: Target, isd: Array, phi: Array, a: int, b: int, c: int) -> Array:
    """Covariance of the readings of a run's channel from its Markov whitening: inverse of Wᵀ W."""
    n = b - a
    w = np.diag(isd[a:b, c])
    w[np.arange(1, n), np.arange(n - 1)] = -phi[a + 1 : b, c] * isd[a + 1 : b, c]
    read = isd[a:b, c] > 0.0
    assert (phi[a:b, c][1:][~read[:-1]] == 0.0).all()  # what follows a block without a reading stands alone
    w = w[np.ix_(read, read)]
    return np.asarray(np.linalg.inv(w.T @ w))


def test_slow_errors_are_integrated_exactly(learned: Learned) -> None:
    target, _ = learned
    flat, c = target.flat, MEASURED.index("speed")
    size = np.zeros(N_CHANNELS)
    size[c] = 0.004
    with_slow = replace(target, slow=slow_error(flat, target.isd, target.phi, size))
    none = slow_error(flat, target.isd, target.phi, np.zeros(N_CHANNELS))
    z = _nearby(learned, 3)
    grown = 0.0
    for r in np.flatnonzero(flat.mode != MODE_AT_SPEED):
        a, b = int(flat.first[r]), int(flat.first[r + 1])
        read = target.isd[a:b, c] > 0.0
        projected = np.sum(with_slow.residuals(z)[:, target.slot[a:b, c][read]] ** 2, axis=1)
        full = float(np.nanmax(np.abs(flat.y[a:b, c])))
        u = columns(b - a)[read] * (0.004 * full) / np.sqrt(np.arange(1.0, 7.0))
        base = _dense(target, target.isd, target.phi, a, b, c)
        dense = base + u @ u.T
        rest = (flat.y[a:b, c] - target.predict(z)[:, a:b, c])[:, read]
        expected = np.einsum("ij,ij->i", rest, np.linalg.solve(dense, rest.T).T)
        np.testing.assert_allclose(projected, expected, rtol=1e-5)
        grown += float(np.linalg.slogdet(dense)[1] - np.linalg.slogdet(base)[1])
    assert with_slow.slow.log_det - none.log_det == pytest.approx(0.5 * grown, rel=1e-6)


def test_slow_directions_are_orthonormal(learned: Learned) -> None:
    target, _ = learned
    slow: SlowError = slow_error(target.flat, target.isd, target.phi, np.full(N_CHANNELS, 0.01))
    assert (slow.shrink >= 0.0).all() and (slow.shrink < 1.0).all()
    for r in range(target.flat.first.size - 1):
        a, b = target.flat.first[r], target.flat.first[r + 1]
        for c in range(N_CHANNELS):
            q = slow.basis[c, slow.shrink[r, c] > 1e-9, a:b].T
            np.testing.assert_allclose(q.T @ q, np.eye(q.shape[1]), atol=1e-9)


def test_noise_has_the_covariance_of_the_density(learned: Learned) -> None:
    target, optimum = learned
    quiet = replace(target, slow=slow_error(target.flat, target.isd, target.phi, np.zeros(N_CHANNELS)))
    c, a, b = MEASURED.index("speed"), int(target.flat.first[0]), int(target.flat.first[1])
    draws = quiet.noise(np.repeat(optimum.z[None, :], 4000, axis=0), np.random.default_rng(2))[:, a:b, c]
    draws = draws[:, target.isd[a:b, c] > 0.0]
    expected = _dense(target, target.isd, target.phi, a, b, c)
    scale = np.sqrt(np.diag(expected))
    found = np.cov(draws.T) / scale / scale[:, None]
    np.testing.assert_allclose(found, expected / scale / scale[:, None], atol=0.09)


def test_the_last_channel_is_the_duty() -> None:
    assert len(MEASURED) == C_DUTY == N_CHANNELS - 1
