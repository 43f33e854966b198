"""Priors against the library of distributions."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats
from scipy.special import logit

from motorfit.inference.priors import BELIEFS, BetaLogit, Flat, HalfNormal, Normal, Prior, StudentT

Array = npt.NDArray[np.float64]

P = np.array([1e-6, 0.01, 0.2, 0.5, 0.77, 0.99, 1.0 - 1e-6])

_BETA = BetaLogit(4.0, 3.0, 0.3, 0.75)


class _LogitBeta:
    """z where x = σ(0.3 + 0.75 z) is Beta(4, 3)."""

    def logpdf(self, z: Array) -> Array:
        x = 1.0 / (1.0 + np.exp(-0.3 - 0.75 * z))
        return np.asarray(stats.beta.logpdf(x, 4.0, 3.0) + np.log(0.75 * x * (1.0 - x)))

    def ppf(self, p: Array) -> Array:
        return np.asarray((logit(stats.beta.ppf(p, 4.0, 3.0)) - 0.3) / 0.75)


TABLE: list[tuple[Prior, Any]] = [
    (Normal(), stats.norm),
    (StudentT(), stats.t(4.0)),
    (StudentT(7.5), stats.t(7.5)),
    (_BETA, _LogitBeta()),
    (HalfNormal(), stats.halfnorm),
    (HalfNormal(top=2.0), stats.truncnorm(0.0, 2.0)),
]
IDS = [f"{type(prior).__name__}-{prior.label}" for prior, _ in TABLE]


@pytest.mark.parametrize(("prior", "known"), TABLE, ids=IDS)
def test_quantiles(prior: Prior, known: Any) -> None:
    np.testing.assert_allclose(prior.inverse_cdf(P), known.ppf(P), rtol=1e-8, atol=1e-9)


@pytest.mark.parametrize(("prior", "known"), TABLE, ids=IDS)
def test_density_up_to_a_constant(prior: Prior, known: Any) -> None:
    z = np.asarray(known.ppf(P))
    gap = prior.log_density(z) - known.logpdf(z)
    np.testing.assert_allclose(gap, gap[0], atol=1e-8)


@pytest.mark.parametrize("prior", [Normal(), StudentT(), HalfNormal(), HalfNormal(top=2.0)])
def test_density_is_highest_at_zero(prior: Prior) -> None:
    assert prior.log_density(np.zeros(1))[0] == 0.0
    assert (prior.log_density(np.array([0.1, 1.0, 1.9])) < 0.0).all()


def test_beta_is_zero_at_its_mode_and_never_above() -> None:
    # residuals are square roots of it
    z = np.linspace(-9.0, 9.0, 4001)
    density = _BETA.log_density(z)
    assert density.max() <= 1e-12 and density.max() == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize(("top", "outside"), [(np.inf, [-1e-9, -3.0]), (2.0, [-1e-9, 2.0001])])
def test_half_normal_ends(top: float, outside: list[float]) -> None:
    prior = HalfNormal(top=top)
    assert np.isneginf(prior.log_density(np.array(outside))).all()
    assert np.isfinite(prior.log_density(np.array([0.0, 1.0, 2.0]))).all()
    draws = prior.inverse_cdf(np.array([0.0, 0.5, 1.0 - 1e-16]))
    assert (draws >= 0.0).all() and (draws <= top).all()


def test_flat_has_no_density_and_no_draws() -> None:
    assert (Flat().log_density(np.array([-3.0, 0.0, 8.0])) == 0.0).all()
    with pytest.raises(NotImplementedError, match="by combination"):
        Flat().inverse_cdf(P)


def test_units_of_the_table_are_known() -> None:
    import pint

    units: Any = pint.UnitRegistry()
    for name, belief in BELIEFS.items():
        text = belief.unit.replace("√W", "W ** 0.5").replace(" m", " * m").replace("A s", "A * s")
        unit = units.parse_units("dimensionless" if text == "1" else text)
        assert unit is not None, name


@pytest.mark.parametrize("name", sorted(BELIEFS))
def test_rows_of_the_table_are_usable(name: str) -> None:
    belief = BELIEFS[name]
    assert belief.why and belief.spread >= 0.0
    assert belief.center > 0.0 or not belief.log
