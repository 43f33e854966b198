"""The bent proposal: what it claims of its own density is so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from motorfit.inference.bending import bend
from motorfit.inference.proposal import Proposal
from tests.inference.toys import banana, gaussian, optimum_of

Array = npt.NDArray[np.float64]


def _proposal(
    centre: Array,
    factor: Array,
    order: npt.NDArray[np.int64],
    top: Array,
    monomials: Array,
    curvature: Array,
    nu: float,
) -> Proposal:
    """One of a single block, as yet uncorrected."""
    d = centre.size
    return Proposal(
        centre, factor, order, np.zeros(d, dtype=np.int64), top,
        monomials.reshape(-1, 3).astype(np.int64), curvature, np.zeros(d), np.ones(d), nu,
    )  # fmt: skip


def _tops(d: int, *bounded: float) -> Array:
    """Upper bounds of the first directions; the others are free."""
    return np.concatenate([np.array(bounded), np.full(d - len(bounded), np.nan)])


def _random(rng: np.random.Generator, d: int = 6, bounded: int = 2) -> Proposal:
    """A proposal with random factor and curvature, monomials moving only directions after their own."""
    factor = np.tril(0.3 * rng.standard_normal((d, d)))
    factor[np.diag_indices(d)] = rng.uniform(0.3, 1.5, d)
    monomials = np.array([(0, 0, -1), (1, 0, -1), (2, 2, -1), (3, 1, -1), (2, 2, 2), (4, 4, -1)])
    curvature = 0.4 * rng.standard_normal((monomials.shape[0], d))
    for row, m in zip(curvature, monomials, strict=True):
        row[: max(int(m.max()) + 1, bounded)] = 0.0
    top = _tops(d, *[np.inf] * bounded)
    return _proposal(
        rng.standard_normal(d), factor, rng.permutation(d).astype(np.int64), top, monomials, curvature, 100.0
    )


@pytest.mark.parametrize("seed", range(5))
def test_bending_keeps_volume(seed: int) -> None:
    rng = np.random.default_rng(seed)
    p = _random(rng)
    d = p.centre.size
    e, step = rng.standard_normal(d), 1e-6
    j = (p.place(e + step * np.eye(d)) - p.place(e - step * np.eye(d))) / (2.0 * step)
    determinant = abs(float(np.linalg.det(j)))
    assert determinant == pytest.approx(float(np.prod(np.diag(p.factor))), rel=1e-6)


def test_bounded_coordinates_stay_in_bounds(rng: np.random.Generator) -> None:
    p = replace(_random(rng), top=_tops(6, 0.7, np.inf))
    z = p.draw(rng.standard_normal((4000, p.normals))).z[:, p.order]
    assert z[:, :2].min() >= -1e-12 and z[:, 0].max() <= 0.7 + 1e-12


@pytest.mark.parametrize(
    ("mean", "top"), [(0.0, np.inf), (3.0, np.inf), (-2.5, np.inf), (0.4, 1.0), (-5.0, 2.0), (6.0, 2.0)]
)
def test_truncated_draws_are_exact(rng: np.random.Generator, mean: float, top: float) -> None:
    """One bounded coordinate alone: its distribution and its density are the truncated normal's."""
    sd = 0.8
    p = _proposal(
        np.array([mean, 0.0]), np.diag([sd, 1.0]), np.arange(2), _tops(2, top), np.zeros(0), np.zeros((0, 2)),
        100.0,
    )  # fmt: skip
    normal = rng.standard_normal((5000, 3))
    normal[:, 1] = 0.0  # the free one stands still, so that the density is that of the first alone
    drawn = p.draw(normal)
    known = stats.truncnorm(-mean / sd, (top - mean) / sd, loc=mean, scale=sd)
    assert stats.kstest(drawn.z[:, 0], known.cdf).pvalue > 1e-3
    gap = drawn.log_q - known.logpdf(drawn.z[:, 0])
    np.testing.assert_allclose(gap, gap[0], atol=1e-7)


def test_cut_normal_gives_even_weights(rng: np.random.Generator) -> None:
    """A linear model with one bound: given that coordinate all else is normal, so weights agree."""
    a = rng.standard_normal((4, 4))
    cov = a @ a.T + 0.3 * np.eye(4)
    mean = np.array([0.2, 1.0, -2.0, 0.5])
    target = gaussian(mean, cov, {2: np.inf})
    optimum = optimum_of(target, np.array([0.0, 0.0, 1.0, 0.0]))
    np.testing.assert_allclose(optimum.centre, mean, atol=0.03)
    p = replace(bend(target, optimum, rng), nu=1e9)
    drawn = p.draw(rng.standard_normal((3000, p.normals)))
    weight = target.log_density(drawn.z) - drawn.log_q
    # bounded coordinates first: only their truncation mass is left, the same for a first coordinate
    assert float(np.std(weight)) < 1e-3


def test_moments_of_two_bounds_are_recovered_by_weights(rng: np.random.Generator) -> None:
    """With a second bounded coordinate the mass of the truncation varies; weights mend it exactly."""
    cov = np.array([[1.0, 0.6, 0.3], [0.6, 1.0, -0.2], [0.3, -0.2, 1.0]])
    mean = np.array([-0.3, 0.4, 1.0])
    target = gaussian(mean, cov, {0: np.inf, 1: np.inf})
    p = bend(target, optimum_of(target, np.array([0.5, 0.5, 0.0])), rng)
    drawn = p.draw(rng.standard_normal((40000, p.normals)))
    log_weight = target.log_density(drawn.z) - drawn.log_q
    w = np.exp(log_weight - log_weight.max())
    w /= w.sum()
    exact = rng.multivariate_normal(mean, cov, 400_000)
    exact = exact[(exact[:, :2] >= 0.0).all(axis=1)]
    np.testing.assert_allclose(w @ drawn.z, exact.mean(axis=0), atol=0.03)
    np.testing.assert_allclose(np.cov(drawn.z.T, aweights=w), np.cov(exact.T), atol=0.04)


def test_bending_follows_a_parabola(rng: np.random.Generator) -> None:
    target = banana()
    optimum = optimum_of(target, np.array([0.5, 0.0, 0.0, 0.0]))
    straight = bend(target, optimum, rng, rounds=0)
    bent = bend(target, optimum, rng)

    def spread(p: Proposal) -> float:
        drawn = p.draw(np.random.default_rng(1).standard_normal((3000, p.normals)))
        return float(np.std(target.log_density(drawn.z) - drawn.log_q))

    assert straight.monomials.shape[0] == 0 < bent.monomials.shape[0]
    assert spread(bent) < 0.1 * spread(straight)


def _plain(d: int) -> Proposal:
    """Independent directions, the first of them bounded below."""
    return _proposal(
        np.zeros(d), np.eye(d), np.arange(d), _tops(d, np.inf), np.zeros(0), np.zeros((0, d)), 1e6
    )


def test_a_correction_finds_centre_and_widths(rng: np.random.Generator) -> None:
    """Of a normal whose directions are off by a shift and a factor: from 300 draws, exactly."""
    p = _plain(5)
    mean, sd = np.array([0.4, -1.0, 0.5, 0.8, 0.0]), np.array([0.7, 0.6, 1.3, 1.0, 0.9])
    e = np.abs(rng.standard_normal((300, 5)))
    log_weight = -0.5 * np.sum(((e - mean) / sd) ** 2, axis=1) + 0.5 * np.sum(e**2, axis=1) + 7.0
    moved = p.corrected(e, log_weight[:, None])
    np.testing.assert_allclose(moved.mean, mean, atol=0.06)
    assert moved.scale[0] == pytest.approx(sd[0], rel=0.05)
    z = moved.draw(rng.standard_normal((60000, moved.normals))).z
    np.testing.assert_allclose(z[:, 1:].std(axis=0), sd[1:], rtol=0.04)


def test_a_correction_of_one_that_fits_changes_nothing(rng: np.random.Generator) -> None:
    p = _random(rng)
    e = rng.standard_normal((300, p.centre.size))
    moved = p.corrected(e, np.full((300, 1), 3.0))
    np.testing.assert_allclose(moved.mean, p.mean, atol=1e-9)
    np.testing.assert_allclose(moved.scale, p.scale, rtol=1e-9)


def test_a_correction_widens_step_by_step(rng: np.random.Generator) -> None:
    """Log-weights that rise as fast as the proposal falls would mean an infinite width."""
    p = _plain(4)
    e = rng.standard_normal((300, 4))
    moved = p.corrected(e, 0.5 * e[:, 2:3] ** 2)
    z = moved.draw(rng.standard_normal((60000, moved.normals))).z
    assert z[:, 2].std() == pytest.approx(0.3**-0.5, rel=0.03)


def test_hopeless_draws_pull_little(rng: np.random.Generator) -> None:
    p = _plain(4)
    e = rng.standard_normal((600, 4))
    log_weight = -0.3 * e[:, 1] ** 2
    far = np.abs(e[:, 3]) > 1.5
    log_weight[far] -= 1e4
    log_weight[0] = -np.inf
    moved = p.corrected(e, log_weight[:, None])
    z = moved.draw(rng.standard_normal((60000, moved.normals))).z
    assert z[:, 1].std() == pytest.approx(1.6**-0.5, rel=0.05)
