"""Units of a model: calibrated for the model's mean and for another unit, wide with one unit."""

from __future__ import annotations

import numpy as np
import pytest

from motorfit.answers.compare import compare
from motorfit.answers.errors import AnswerError
from motorfit.answers.hierarchy import level, model_of
from motorfit.answers.pairing import side_by_side
from tests.answers.benches import TRUTH, near, one_bench


def test_mean_and_another_unit_are_covered_whatever_the_number_of_units() -> None:
    rng = np.random.default_rng(3)
    mean: list[bool] = []
    new: list[bool] = []
    gain, own, unit_scale, remount = 0.004, 0.0008, 0.02, 0.002
    for _ in range(300):
        units = int(rng.integers(1, 6))
        tau, rho = unit_scale * abs(rng.standard_normal()), remount * abs(rng.standard_normal())
        middle = 7.0 + tau * rng.standard_normal(units)
        names = [str(k) for k in range(units)] + (["0"] if units > 2 else [])
        fits = np.array([middle[int(k)] for k in names]) + rho * rng.standard_normal(len(names))
        seen = fits + gain * rng.standard_normal() + own * rng.standard_normal(len(names))
        draws = seen[:, None] + gain * rng.standard_normal(800) + own * rng.standard_normal((len(names), 800))
        found = level(draws, names, unit_scale, remount, rng)
        another = 7.0 + tau * rng.standard_normal()
        for hits, values, truth in ((mean, found.mean, 7.0), (new, found.new_unit, another)):
            low, high = np.quantile(values, (0.05, 0.95))
            hits.append(low <= truth <= high)
    for hits in (mean, new):
        assert abs(np.mean(hits) - 0.9) < 3.0 * np.sqrt(0.09 / 300)


def test_more_units_teach_the_mean_and_the_spread(rng: np.random.Generator) -> None:
    middle = 7.0 + 0.005 * rng.standard_normal(12)
    draws = middle[:, None] + 1e-4 * rng.standard_normal((12, 2000))
    widths = []
    for n in (1, 3, 12):
        found = level(draws[:n], [str(k) for k in range(n)], 0.02, 0.002, rng)
        widths.append(found.mean.std())
    assert widths[0] > 2.0 * widths[1] > 2.0 * widths[2]
    assert np.median(found.unit_spread) == pytest.approx(middle.std(ddof=1), rel=0.35)
    assert found.mean.mean() == pytest.approx(middle.mean(), abs=0.001)


def test_one_unit_is_wide_and_says_why(rng: np.random.Generator) -> None:
    fits = one_bench(rng, [TRUTH, near(rng, 0.01)])
    units = compare(fits, metrics=("kv",)).metric("kv").motors["tern-2807"]
    found = compare(fits, metrics=("kv",), models=True)
    model = found.metric("kv").motors["tern-2807"]
    assert model[2] - model[1] > 4.0 * (units[2] - units[1])
    notes = [n for n in found.notes if n.code == "one-unit"]
    assert len(notes) == 2 and "K_v 2 %" in notes[0].message
    assert found.conditions["of"] == "another unit of each model"


def test_units_of_one_model_answer_together(rng: np.random.Generator) -> None:
    facts = [{"model": "tern", "unit": "a"}, {"model": "tern", "unit": "b"}, {"model": "gull", "unit": "a"}]
    truths = [near(rng, 0.01), near(rng, 0.01), near(rng, 0.1)]
    fits = one_bench(rng, truths, facts=facts)
    found = compare(fits, metrics=("kv", "max_thrust_n"), propeller="p7x35x3", voltage_v=22.2, models=True)
    assert found.names == ("tern", "gull")
    assert len(found.fits["tern"]) == 2
    assert {"units", "one-unit"} <= {n.code for n in found.notes}
    unit = fits[1].motor
    said = compare(
        fits, metrics=("kv",), models=True, claims={f"{unit}:winding_resistance": 0.06}
    ).claims  # a claim about a unit is one about its model
    assert [c.motor for c in said if c.metric == "winding_resistance"] == ["tern"]


def test_what_is_shared_on_the_bench_stays_shared_between_models(rng: np.random.Generator) -> None:
    fits = one_bench(rng, [TRUTH, near(rng, 0.02)])
    first, second = (model_of([s]) for s in side_by_side(fits))
    gain = np.log(fits[0].draws["kv"]).ravel()
    for model in (first, second):
        left = np.log(model.mean.draws["kv"]).ravel()
        slope = np.cov(left, gain)[0, 1] / gain.var()
        assert 0.3 < slope < 1.7  # 1 but for the spread between units, which a thousand draws let through
    psi = first.new_unit.draws["kt"] * first.new_unit.draws["kv"] * 2.0 * np.pi / 60.0
    assert psi == pytest.approx(first.new_unit.draws["kt_kv_ratio"], rel=1e-9)


def test_models_are_not_mixed(rng: np.random.Generator) -> None:
    with pytest.raises(AnswerError, match="units of one model"):
        model_of(side_by_side(one_bench(rng, [TRUTH, TRUTH])))
