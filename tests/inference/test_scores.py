"""Scores of ensembles against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from motorfit.inference.scores import coverage, crps, expected_crps


def _normal_crps(y: float) -> float:
    """Of a standard normal (T. Gneiting, A. E. Raftery, J. Am. Stat. Assoc. 102 (2007) 359)."""
    return float(y * (2.0 * stats.norm.cdf(y) - 1.0) + 2.0 * stats.norm.pdf(y) - 1.0 / math.sqrt(math.pi))


@pytest.mark.parametrize("y", [-2.0, 0.0, 0.7])
def test_crps_of_a_normal(y: float) -> None:
    ensemble = np.random.default_rng(1).standard_normal((200_000, 1))
    assert crps(ensemble, np.array([y]))[0] == pytest.approx(_normal_crps(y), abs=4e-3)


def test_crps_does_not_depend_on_the_number_of_members() -> None:
    """The plain estimator would be a third too large with three members."""
    few = np.random.default_rng(2).standard_normal((3, 40_000))
    assert crps(few, np.full(40_000, 0.7)).mean() == pytest.approx(_normal_crps(0.7), abs=0.01)


def test_expected_crps_is_that_of_one_more_member() -> None:
    rng = np.random.default_rng(3)
    ensemble = 2.0 * rng.standard_normal((400, 3000))
    scores = crps(ensemble, 2.0 * rng.standard_normal(3000))
    assert expected_crps(ensemble).mean() == pytest.approx(2.0 / math.sqrt(math.pi), rel=0.01)
    assert scores.mean() == pytest.approx(expected_crps(ensemble).mean(), rel=0.05)


def test_independent_blocks_count_in_full_and_linked_ones_as_one() -> None:
    rng = np.random.default_rng(4)
    apart = rng.standard_normal((2000, 200))
    together = rng.standard_normal((2000, 1)) + 0.01 * apart
    found = coverage(apart, rng.standard_normal(200), 0.9)
    assert found.effective > 150.0 and found.expected and found.high - found.low < 0.1
    linked = coverage(together, np.full(200, 0.1), 0.9)
    assert linked.effective < 2.0 and linked.low < 0.2 and linked.share == 1.0


def test_a_band_too_narrow_is_not_expected() -> None:
    rng = np.random.default_rng(5)
    assert not coverage(rng.standard_normal((1000, 100)), 2.0 * rng.standard_normal(100), 0.9).expected
