from __future__ import annotations

import json

import numpy as np
import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.show import contraction, summarise
from motorfit.quantities import PARAMETERS
from tests.answers.standin import make_fit


def test_contraction_of_normals_is_that_of_their_variances(rng: np.random.Generator) -> None:
    prior = rng.standard_normal(200_000)
    assert contraction(0.5 * prior + 3.0, prior, signed=True) == pytest.approx(0.75, abs=0.005)
    assert contraction(prior, prior, signed=True) == pytest.approx(0.0, abs=1e-12)


def test_contraction_of_positive_parameters_is_on_the_logarithm(rng: np.random.Generator) -> None:
    z = rng.standard_normal(200_000)
    # Same factor of doubt, a thousandth of the value: on the plain scale this would read as learned.
    assert contraction(1e-3 * np.exp(z), np.exp(z)) == pytest.approx(0.0, abs=1e-9)
    assert contraction(np.exp(0.1 * z), np.exp(z)) == pytest.approx(0.99, abs=1e-6)


def test_a_heavy_prior_tail_does_not_flatter_the_data(rng: np.random.Generator) -> None:
    prior = rng.standard_t(1.2, 200_000)
    half_width = 0.5 * float(np.diff(np.quantile(prior, (0.158655, 0.841345)))[0])
    posterior = half_width * rng.standard_normal(200_000)
    assert abs(contraction(posterior, prior, signed=True)) < 0.03


def test_a_parameter_held_fixed_is_not_learned() -> None:
    fixed = np.full(100, 0.3)
    assert contraction(fixed, fixed) == 0.0


def test_an_absent_effect_is_summed_up_without_nan() -> None:
    fit = make_fit()
    draws = np.full((4, 250), np.inf)
    draws[0, :80] = 200.0
    prior = np.where(np.arange(1000) % 3 == 0, np.inf, 80.0)[None, :]
    fit = fit.with_draws(saturation_current=draws)
    fit.prior["saturation_current"] = prior
    entry = summarise(fit).to_json()["parameters"]["saturation_current"]
    assert entry["low"] == 200.0
    assert entry["median"] is None
    assert entry["sd"] is None
    assert entry["contraction"] is not None


def test_json_is_the_contract() -> None:
    fit = make_fit()
    found = json.loads(json.dumps(summarise(fit).to_json(), allow_nan=False))
    assert found["motor"] == "tern-2807"
    assert found["interval"] == 0.9
    assert found["diagnostics"] == {"method": "fast", "k_hat": 0.31}
    kv = found["parameters"]["kv"]
    assert set(kv) == {"unit", "median", "low", "high", "sd", "contraction", "learned"}
    assert kv["unit"] == "rpm/V"
    assert kv["learned"] is True
    draws = fit.draws["kv"].ravel()
    assert kv["median"] == pytest.approx(np.median(draws))
    assert (kv["low"], kv["high"]) == pytest.approx(tuple(np.quantile(draws, (0.05, 0.95))))
    assert kv["sd"] == pytest.approx(np.std(draws, ddof=1))


def test_every_propeller_has_its_own_key() -> None:
    found = summarise(make_fit()).to_json()["parameters"]
    for propeller in ("p7x35x3", "p6x4x3", "p9x5x2"):
        assert f"thrust_coefficient[{propeller}]" in found
    assert "thrust_coefficient" not in found
    assert found["thrust_coefficient[p7x35x3]"]["median"] == pytest.approx(0.143, rel=0.01)
    assert found["thrust_coefficient[p6x4x3]"]["median"] == pytest.approx(0.150, rel=0.01)


def test_units_are_those_of_the_table() -> None:
    for parameter in summarise(make_fit()).parameters:
        assert parameter.unit == PARAMETERS[parameter.name].unit


def test_what_was_not_learned_names_the_run_that_would_teach_it() -> None:
    summary = summarise(make_fit())
    assert not {p.key for p in summary.not_learned} & {"kv", "winding_resistance", "prop_inertia[p7x35x3]"}
    advice = summary.to_json()["not_learned"]
    assert advice["prop_inertia[p9x5x2]"] == (
        "Not learned from these runs; what would teach it: a steps run with propeller p9x5x2, or "
        "inertia_kg_m2 in its entry of the campaign."
    )
    assert "resistance_ohm" in advice["controller_resistance"]
    assert all(text.endswith(".") for text in advice.values())


def test_without_a_prior_nothing_is_claimed() -> None:
    fit = make_fit()
    del fit.prior["kv"]
    kv = summarise(fit).to_json()["parameters"]["kv"]
    assert kv["contraction"] is None
    assert kv["learned"] is False


def test_a_wider_interval_is_wider() -> None:
    fit = make_fit()
    narrow, wide = (summarise(fit, interval).to_json()["parameters"]["kt"] for interval in (0.5, 0.95))
    assert wide["low"] < narrow["low"] < narrow["high"] < wide["high"]
    with pytest.raises(AnswerError):
        summarise(fit, 95.0)
