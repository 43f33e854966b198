"""Sensitivity, influence and misfit: against closed forms, and on benches with something wrong in them."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.inference.diagnostics import diagnose
from motorfit.inference.fast import FastDraws, fast_draws
from motorfit.inference.graph import MEASURED
from motorfit.inference.influence import influences, run_log_likelihoods
from motorfit.inference.misfit import AXES, misfits
from motorfit.inference.optimum import Optimum
from motorfit.inference.scrutiny import scrutinise
from motorfit.inference.sensitivity import prior_parts, scaled_moves
from motorfit.inference.target import Target

Array = npt.NDArray[np.float64]
Drawn = tuple[Target, Optimum, FastDraws]


@pytest.fixture(scope="module")
def drawn(learned: tuple[Target, Optimum]) -> Drawn:
    target, optimum = learned
    return target, optimum, fast_draws(target, optimum, np.random.default_rng(1), 1600)


def _flat(drawn: Drawn) -> Array:
    return drawn[2].z.reshape(-1, drawn[0].graph.size)


@pytest.mark.parametrize("prior_sd", [0.5, 1.0, 5.0])
def test_power_scaling_of_a_normal(prior_sd: float) -> None:
    """Prior normal about 1, one datum at 0 of unit doubt: mean and width at any power in closed form."""
    rng = np.random.default_rng(1)
    precision = 1.0 + prior_sd**-2.0
    x = prior_sd**-2.0 / precision + rng.standard_normal(20_000) / math.sqrt(precision)
    found = scaled_moves(-0.5 * ((x - 1.0) / prior_sd) ** 2, {"x": x})
    low, high = found["powers"]

    def at(power: float) -> tuple[float, float]:
        total = 1.0 + power * prior_sd**-2.0
        return power * prior_sd**-2.0 / total, total**-0.5

    shift = (at(high)[0] - at(low)[0]) * math.sqrt(precision)
    assert found["pareto_k"] < 0.7
    assert found["moves"]["x"]["shift_sd"] == pytest.approx(shift, abs=0.02)
    assert found["moves"]["x"]["width_ratio"] == pytest.approx(at(high)[1] / at(low)[1], abs=0.02)


def test_powers_come_nearer_to_one_where_weights_cannot_be_trusted() -> None:
    x = np.random.default_rng(2).standard_normal(1000)
    assert scaled_moves(-0.5 * x**2, {"x": x})["powers"] == [0.8, 1.25]
    heavy = np.exp(1.5 * x)
    assert scaled_moves(40.0 * heavy, {"x": x})["powers"] != [0.8, 1.25]


def test_copies_of_a_few_draws_are_not_trusted() -> None:
    x = np.repeat(np.array([-1.0, 0.0, 1.0, 3.0]), 100)
    found = scaled_moves(-5.0 * x**2, {"x": x})
    assert found["pareto_k"] is None and found["powers"] != [0.8, 1.25]


def test_parts_of_the_density_make_the_whole(drawn: Drawn) -> None:
    target, _, _ = drawn
    z = _flat(drawn)[:50]
    rows = target.residuals(z)
    data = run_log_likelihoods(target, rows).sum(axis=0)
    np.testing.assert_allclose(data, -0.5 * np.sum(rows[:, : target.data_rows] ** 2, axis=1), rtol=1e-9)
    whole = data + sum(prior_parts(target, z).values())
    np.testing.assert_allclose(
        whole - whole[0], -0.5 * (np.sum(rows**2, axis=1) - np.sum(rows[0] ** 2)), atol=1e-6
    )


def test_a_run_that_does_not_matter_has_no_influence(drawn: Drawn) -> None:
    target, _, _ = drawn
    z = _flat(drawn)[:400]
    rows = target.residuals(z)
    rows[:, target.slot[: target.flat.first[1]][target.slot[: target.flat.first[1]] >= 0]] = 0.3
    first, *_ = influences(target, rows, {"x": z[:, 0]})
    assert first["run"] == target.graph.runs[0].run.id
    assert first["moves"]["shift_sd"] == pytest.approx(0.0, abs=1e-6)


def test_clean_data_show_no_misfit_and_an_offset_shows(drawn: Drawn) -> None:
    target, _, _ = drawn
    z = _flat(drawn)[:80]
    clean = misfits(target, z, np.random.default_rng(3))
    assert {m["axis"] for m in clean} == set(AXES)
    assert np.mean([abs(m["deviations"]) > 3.0 for m in clean]) < 0.05
    c = MEASURED.index("current")
    y = target.flat.y.copy()
    logged = target.flat.logged
    y[logged, c] += 0.05 * np.nanmax(y[logged, c])
    wrong = misfits(replace(target, flat=replace(target.flat, y=y)), z, np.random.default_rng(3))
    worst = max((m for m in wrong if m["axis"] == "time"), key=lambda m: abs(m["deviations"]))
    assert worst["channel"] == "current" and worst["deviations"] > 4.0
    assert worst["off"] == pytest.approx(0.05, rel=0.3)


def test_scrutiny_is_plain_and_repeatable(drawn: Drawn) -> None:
    target, optimum, fast = drawn
    z = _flat(drawn)
    found = scrutinise(target, z)
    assert json.loads(json.dumps(found, allow_nan=False)) == scrutinise(target, z)
    assert [r["run"] for r in found["runs"]] == [r.run.id for r in target.graph.runs]
    assert set(found["sensitivity"]["data"]["moves"]) >= {"kv[motor-1]", "thrust_coefficient[prop-a]"}
    stored = diagnose(target, optimum, fast, None, "fast")
    assert stored["runs"] == found["runs"]
    assert set(found["sentences"]) <= set(stored["sentences"])
