from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from motorfit.answers.propeller_kin import (
    LIKENESS,
    MOST_TAUGHT,
    SCALES,
    STAND_SD,
    Geometry,
    Known,
    design,
    from_components,
    sharpened,
    telling,
    to_components,
)
from motorfit.answers.propeller_makes import MOST_SORTINGS, count_within, sortings
from motorfit.answers.propeller_numbers import OWN_COVARIANCE, PRIOR_COVARIANCE, PRIOR_MEAN
from motorfit.inference.priors import BELIEFS

ALL = (True, True, True, True)
INCH = 0.0254
TARGET = Geometry(7 * INCH, 4.5 * INCH, 2)
OTHERS = tuple(
    Geometry(d * INCH, p * INCH, b)
    for d, p, b in ((7, 3.5, 3), (6, 4, 3), (8, 4.5, 2), (9, 4.5, 2), (5, 4, 3), (10, 4.5, 2))
)


def _exact(geometry: Geometry, values: NDArray[np.float64], size: int, make: str = "") -> Known:
    return Known(geometry, np.tile(values, (size, 1)), ALL, "here", make)


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
    assert 0.16 < drawn[:, 0].std() < 0.24
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


def test_propellers_of_one_make_leave_little_doubt() -> None:
    """Twenty of a make, without scatter of their own: the next of it is known, a stranger is not."""
    rng = np.random.default_rng(7)
    known = []
    for _ in range(20):
        g = Geometry(rng.uniform(5, 10) * INCH, rng.uniform(3, 5) * INCH, int(rng.integers(2, 4)))
        known.append(_exact(g, design(g) @ PRIOR_MEAN[:14] + 0.1, 2000, "a"))
    alone = sharpened(TARGET, [], "here", 2000, np.random.default_rng(8))
    same, other, open_ = (
        sharpened(TARGET, known, "here", 2000, np.random.default_rng(8), make=make) for make in ("a", "b", "")
    )
    assert same[:, 0].std() < 0.35 * alone[:, 0].std()
    assert same[:, 0].mean() == pytest.approx((design(TARGET) @ PRIOR_MEAN[:14])[0] + 0.1, abs=0.02)
    assert other[:, 0].std() > 0.6 * alone[:, 0].std()
    assert same[:, 0].std() < open_[:, 0].std() < other[:, 0].std()


def test_sortings_agree_with_what_is_told() -> None:
    found = dict(sortings(("a", "", "b", "a")))
    assert set(found) == {(0, 0, 1, 0), (0, 1, 1, 0), (0, 1, 2, 0)}
    assert sum(found.values()) == pytest.approx(1.0)
    # the untold one joins two of a make twice as likely as one, and a new make with twice that of one
    assert found[0, 0, 1, 0] == pytest.approx(2.0 * found[0, 1, 1, 0])
    assert found[0, 1, 2, 0] == pytest.approx(2.0 * found[0, 1, 1, 0])
    assert len(sortings(("",) * 6)) == 203 <= MOST_SORTINGS
    assert not count_within(("",) * 7) and count_within(("a", "b") * 10)


def test_the_most_alike_are_those_that_tell() -> None:
    rng = np.random.default_rng(12)
    sizes = rng.permutation(np.linspace(5.0, 12.0, 40))
    many = [
        _exact(Geometry(d * INCH, 0.6 * d * INCH, 2), PRIOR_MEAN[14:], 10, "a" if d > 9.0 else "")
        for d in sizes
    ]
    open_ = telling(TARGET, "", many)
    assert 5 <= len(open_) < MOST_TAUGHT
    assert max(abs(k.geometry.diameter_m / INCH - 7.0) for k in open_[:5]) < 0.6
    told = telling(TARGET, "a", many)
    assert len([k for k in told if k.make]) == sum(d > 9.0 for d in sizes) and told[0].make == "a"


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


@pytest.mark.parametrize(("tested", "told"), [(0, False), (2, False), (4, False), (6, True)])
def test_bands_hold_what_is_drawn_from_the_model(tested: int, told: bool) -> None:
    """Libraries drawn from the prior, one propeller left out: 90 % bands hold it as often as they should."""
    rng = np.random.default_rng(11)
    libraries, size, inside = 300, 400, np.zeros(2)
    slopes, shift = PRIOR_COVARIANCE[:14, :14], PRIOR_COVARIANCE[14:, 14:]
    mixed = PRIOR_COVARIANCE[:14, 14:]
    ways = sortings(("",) * (tested + 1))
    stand = np.kron(np.ones((tested + 1, tested + 1)), np.diag(np.square(STAND_SD)))
    rows = np.concatenate([design(g) for g in (TARGET, *OTHERS[:tested])])
    both = np.tile(rows @ mixed, tested + 1)
    for number in range(libraries):
        groups, _ = ways[rng.choice(len(ways), p=[w for _, w in ways])]
        scale = rng.choice([value for value, _ in SCALES], p=[weight for _, weight in SCALES])
        own = np.kron(np.equal.outer(groups, groups), shift) + np.kron(np.eye(tested + 1), OWN_COVARIANCE)
        covariance = rows @ slopes @ rows.T + both + both.T + scale**2 * own + stand
        mean = rows @ PRIOR_MEAN[:14] + np.tile(PRIOR_MEAN[14:], tested + 1)
        made = rng.multivariate_normal(mean, covariance).reshape(-1, 4)
        makes = [str(g) if told else "" for g in groups]
        known = [_exact(g, v, size, m) for g, v, m in zip(OTHERS, made[1:], makes[1:], strict=False)]
        drawn = sharpened(TARGET, known, "here", size, np.random.default_rng(number), make=makes[0])
        low, high = np.quantile(drawn, (0.05, 0.95), axis=0)
        inside += ((made[0] > low) & (made[0] < high))[:2]
    # three standard deviations of a binomial share
    assert np.all(np.abs(inside / libraries - 0.9) < 3.0 * math.sqrt(0.9 * 0.1 / libraries))
