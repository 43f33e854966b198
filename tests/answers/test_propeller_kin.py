from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from motorfit.answers.propeller_kin import (
    LIKENESS,
    SCALES,
    SHARES,
    Geometry,
    Known,
    design,
    from_components,
    sharpened,
    to_components,
)
from motorfit.answers.propeller_numbers import OWN_COVARIANCE, PRIOR_COVARIANCE, PRIOR_MEAN
from motorfit.inference.priors import BELIEFS

ALL = (True, True, True, True)
INCH = 0.0254
TARGET = Geometry(7 * INCH, 4.5 * INCH, 2)
OTHERS = tuple(
    Geometry(d * INCH, p * INCH, b)
    for d, p, b in ((7, 3.5, 3), (6, 4, 3), (8, 4.5, 2), (9, 4.5, 2), (5, 4, 3), (10, 4.5, 2))
)


def _exact(geometry: Geometry, values: NDArray[np.float64], size: int) -> Known:
    return Known(geometry, np.tile(values, (size, 1)), ALL, "here")


def test_components_and_back() -> None:
    thrust, torque = np.array([0.11, 0.15]), np.array([0.009, 0.013])
    still = np.zeros(2)
    back = from_components(to_components(thrust, torque, still + 0.05, still - 0.06, 0.0))
    for found, given in zip(back, (thrust, torque, still + 0.05, still - 0.06), strict=True):
        np.testing.assert_allclose(found, given, rtol=1e-12)


def test_components_hold_where_reynolds_numbers_are_alike() -> None:
    assert TARGET.reference_rev_per_s * TARGET.diameter_m**2 == pytest.approx(LIKENESS)
    values = to_components(
        np.array([0.1]), np.array([0.01]), np.array([0.1]), np.array([-0.1]), math.log(2.0)
    )
    thrust, torque, *_ = from_components(values)
    assert thrust[0] == pytest.approx(0.1 * 2.0**0.1)
    assert torque[0] == pytest.approx(0.01 * 2.0**-0.1)


def test_without_a_library_draws_are_those_of_the_shipped_prior() -> None:
    drawn = sharpened(TARGET, [], "here", 40_000, np.random.default_rng(3))
    mean = np.concatenate([design(TARGET), np.eye(4)], axis=1) @ PRIOR_MEAN
    np.testing.assert_allclose(drawn.mean(axis=0), mean, atol=0.01)
    assert 0.17 < drawn[:, 0].std() < 0.25
    assert 0.25 < drawn[:, 1].std() < 0.40


def test_the_shipped_prior_agrees_with_what_every_fit_starts_from() -> None:
    """At two blades and a hover pitch ratio the two centres lie within one sigma of each other."""
    drawn = sharpened(Geometry(7 * INCH, 0.45 * 7 * INCH, 2), [], "here", 20_000, np.random.default_rng(4))
    belief = BELIEFS["thrust_coefficient"]
    assert abs(drawn[:, 0].mean() - math.log(belief.center)) < belief.spread
    merit = BELIEFS["figure_of_merit"]
    assert abs(drawn[:, 1].mean() - math.log(merit.center / (1 - merit.center))) < merit.spread


def test_figure_of_merit_stays_below_one() -> None:
    thrust, torque, *_ = from_components(sharpened(TARGET, [], "here", 20_000, np.random.default_rng(5)))
    assert (math.sqrt(2 / math.pi) * thrust**1.5 / (2 * math.pi * torque)).max() < 1.0


def test_order_of_the_library_and_seed() -> None:
    rng = np.random.default_rng(6)
    known = [
        Known(g, rng.normal((math.log(0.12), 0.3, 0.05, -0.05), 0.05, (500, 4)), ALL, "here") for g in OTHERS
    ]
    first = sharpened(TARGET, known, "here", 500, np.random.default_rng(1))
    np.testing.assert_array_equal(
        first, sharpened(TARGET, known[::-1], "here", 500, np.random.default_rng(1))
    )
    assert not np.array_equal(first, sharpened(TARGET, known, "here", 500, np.random.default_rng(2)))


def test_many_alike_propellers_leave_little_doubt() -> None:
    """Forty propellers that follow the model without scatter: the next one is known to a few percent."""
    rng = np.random.default_rng(7)
    known = []
    for _ in range(40):
        g = Geometry(rng.uniform(5, 10) * INCH, rng.uniform(3, 5) * INCH, int(rng.integers(2, 4)))
        known.append(_exact(g, design(g) @ PRIOR_MEAN[:14] + 0.1, 2000))
    drawn = sharpened(TARGET, known, "here", 2000, np.random.default_rng(8))
    alone = sharpened(TARGET, [], "here", 2000, np.random.default_rng(8))
    assert drawn[:, 0].std() < 0.35 * alone[:, 0].std()
    assert drawn[:, 0].mean() == pytest.approx((design(TARGET) @ PRIOR_MEAN[:14])[0] + 0.1, abs=0.02)


def test_a_coefficient_that_was_not_learned_teaches_nothing() -> None:
    values = np.array([math.log(0.2), 2.0, 0.3, 0.3])
    blind = Known(OTHERS[2], np.tile(values, (3000, 1)), (False, False, False, False), "here")
    drawn = sharpened(TARGET, [blind], "here", 3000, np.random.default_rng(9))
    np.testing.assert_array_equal(drawn, sharpened(TARGET, [], "here", 3000, np.random.default_rng(9)))
    thrust_only = Known(OTHERS[2], np.tile(values, (3000, 1)), (True, False, False, False), "here")
    taught = sharpened(TARGET, [thrust_only], "here", 3000, np.random.default_rng(9))
    assert taught[:, 0].mean() > drawn[:, 0].mean() + 0.05


def test_pooling_is_row_by_row() -> None:
    """A row whose tested coefficients are all higher, as by the gain of the load cell, predicts higher."""
    base = np.array([math.log(0.12), 0.3, 0.05, -0.05])
    shift = np.linspace(-0.1, 0.1, 4000)
    known = [Known(g, base + np.outer(shift, (1.0, 0, 0, 0)), ALL, "here") for g in OTHERS]
    drawn = sharpened(TARGET, known, "here", 4000, np.random.default_rng(10))
    slope = np.polyfit(shift, drawn[:, 0], 1)[0]
    assert 0.5 < slope < 1.2


@pytest.mark.parametrize("tested", [0, 2, 5])
def test_bands_hold_what_is_drawn_from_the_model(tested: int) -> None:
    """Libraries drawn from the prior, one propeller left out: 90 % bands hold it as often as they should."""
    rng = np.random.default_rng(11)
    libraries, size, inside = 300, 400, np.zeros(2)
    root = np.linalg.cholesky(PRIOR_COVARIANCE)
    for number in range(libraries):
        common = PRIOR_MEAN + root @ rng.standard_normal(18)
        share, scale = (
            rng.choice([value for value, _ in table], p=[weight for _, weight in table])
            for table in (SHARES, SCALES)
        )
        own = scale**2 * (OWN_COVARIANCE + (1 - share) * PRIOR_COVARIANCE[14:, 14:])
        shift = PRIOR_MEAN[14:] + math.sqrt(share) * (common[14:] - PRIOR_MEAN[14:])
        made = [
            design(g) @ common[:14] + shift + rng.multivariate_normal(np.zeros(4), own)
            for g in (TARGET, *OTHERS[:tested])
        ]
        known = [_exact(g, v, size) for g, v in zip(OTHERS, made[1:], strict=False)]
        drawn = sharpened(TARGET, known, "here", size, np.random.default_rng(number))
        low, high = np.quantile(drawn, (0.05, 0.95), axis=0)
        inside += ((made[0] > low) & (made[0] < high))[:2]
    # Four standard deviations of a binomial share; the stand's doubt, not drawn here, only widens.
    slack = 4.0 * math.sqrt(0.9 * 0.1 / libraries)
    assert np.all(np.abs(inside / libraries - 0.9) < slack)
