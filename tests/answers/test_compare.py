"""Comparisons: the contract, what is paired, probabilities that hold what they promise, errors."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from motorfit.answers.compare import compare
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import Air
from motorfit.answers.predict import predict
from tests.answers.benches import TRUTH, near, one_bench
from tests.answers.standin import StandIn, make_fit

ASK = {"propeller": "p7x35x3", "voltage_v": 22.2}
METRICS = (
    "kv", "max_thrust_n", "max_current_a", "peak_torque_nm", "peak_efficiency", "rise_time_s", "fall_time_s",
    "hover_power_w", "max_thrust_n_per_gram",
)  # fmt: skip


def pair(rng: np.random.Generator) -> list[StandIn]:
    return one_bench(rng, [TRUTH, near(rng, 0.003)])


def codes(found: object) -> set[str]:
    return {note.code for note in found.notes}  # type: ignore[attr-defined]


def test_json_is_the_contract(rng: np.random.Generator) -> None:
    found = compare(pair(rng), metrics=METRICS, **ASK).to_json()  # type: ignore[arg-type]
    document = json.loads(json.dumps(found, allow_nan=False))
    assert document["interval"] == 0.9
    assert [m["name"] for m in document["metrics"]] == list(METRICS)
    units = {m["name"]: m["unit"] for m in document["metrics"]}
    assert units["max_thrust_n"] == "N" and units["kv"] == "rpm/V" and units["max_thrust_n_per_gram"] == "N/g"
    for metric in document["metrics"]:
        assert set(metric["motors"]) == {"tern-2807", "gull-2306"}
        for spread in metric["motors"].values():
            assert spread["low"] < spread["median"] < spread["high"]
        (difference,) = metric["differences"]
        assert (difference["first"], difference["second"]) == ("tern-2807", "gull-2306")
        assert difference["low"] < difference["median"] < difference["high"]
        assert 0.0 < difference["probability_first_greater"] < 1.0
        assert sum(metric["ranks"]["tern-2807"]) == pytest.approx(1.0)
        shares = [difference[f"probability_{k}"] for k in
                  ("first_greater_by_margin", "second_greater_by_margin", "within_margin")]  # fmt: skip
        assert sum(shares) == pytest.approx(1.0, abs=1e-9)


def test_figures_are_those_of_a_prediction(rng: np.random.Generator) -> None:
    fits = pair(rng)
    found = compare(fits, metrics=("max_thrust_n", "max_current_a", "thrust_n@throttle=0.5"), **ASK)  # type: ignore[arg-type]
    curves = predict(fits[1], throttle=[0.5, 1.0], **ASK).curves  # type: ignore[arg-type]
    assert found.metric("max_thrust_n").motors["gull-2306"][0] == pytest.approx(curves["thrust_n"].median[1])
    assert found.metric("max_current_a").motors["gull-2306"][2] == pytest.approx(curves["current_a"].high[1])
    at_half = found.metric("thrust_n@throttle=0.5").motors["gull-2306"][1]
    assert at_half == pytest.approx(curves["thrust_n"].low[0])


def test_differences_of_one_campaign_are_draw_by_draw(rng: np.random.Generator) -> None:
    fits = pair(rng)
    found = compare(fits, metrics=("kv",)).metric("kv").differences[0]
    gaps = (fits[0].draws["kv"] - fits[1].draws["kv"]).ravel()
    assert (found.low, found.median, found.high) == pytest.approx(np.quantile(gaps, (0.05, 0.5, 0.95)))
    assert found.sharper_by > 5.0
    assert "paired" in codes(compare(fits, metrics=("kv",)))


def test_draws_of_different_campaigns_are_never_subtracted_by_index(rng: np.random.Generator) -> None:
    """The same fit under another campaign's id: index by index the difference would be exactly zero."""
    fit = pair(rng)[0]
    again = replace(fit, motor="gull-2306", fit_id="20300103T030405.678901Z-0badcafe-1",
                    attributes={**fit.attributes, "inputs_sha256": {"a": "other"}})  # fmt: skip
    apart = replace(again, propellers=("q1", "q2", "q3"), constant=_renamed(again))
    found = compare([fit, apart], metrics=("kv",))
    difference = found.metric("kv").differences[0]
    width = fit.draws["kv"].std()
    assert difference.high - difference.low == pytest.approx(2 * 1.645 * np.sqrt(2.0) * width, rel=0.1)
    assert difference.sharper_by == pytest.approx(1.0, abs=0.06)
    assert {"independent-campaigns", "same-bench"} <= codes(found)
    assert found.to_json() == compare([fit, apart], metrics=("kv",)).to_json()


def _renamed(fit: StandIn) -> dict[str, object]:
    names = dict(zip(fit.propellers, ("q1", "q2", "q3"), strict=True))
    table = {names[k]: v for k, v in fit.constant["propellers"].items()}
    return {**fit.constant, "propellers": table, "envelope": {}}


def test_probabilities_and_intervals_hold_what_they_promise() -> None:
    """Brier score no worse than the probabilities' own expectation; 90 % intervals hold 90 %."""
    rng = np.random.default_rng(5)
    inside, p, greater = [], [], []
    for _ in range(120):
        truths = [near(rng, 0.002), near(rng, 0.002)]
        fits = one_bench(rng, truths)
        found = compare(fits, metrics=("kv", "winding_resistance", "rotor_inertia"))
        for answer in found.metrics:
            difference = answer.differences[0]
            gap = truths[0][answer.metric.name] - truths[1][answer.metric.name]
            inside.append(difference.low <= gap <= difference.high)
            p.append(difference.probability_first_greater)
            greater.append(gap > 0.0)
    share = np.mean(inside)
    assert abs(share - 0.9) < 3.0 * np.sqrt(0.09 / len(inside))
    q, y = np.array(p), np.array(greater, dtype=float)
    expected, scatter = np.mean(q * (1 - q)), np.sqrt(np.sum(q * (1 - q) * (1 - 2 * q) ** 2)) / len(q)
    assert expected > 0.02  # some of the pairs are hard
    assert np.mean((q - y) ** 2) < expected + 3.0 * scatter


def test_equal_motors_cannot_be_told_apart(rng: np.random.Generator) -> None:
    first = make_fit(1, "tern-2807")
    fits = [
        replace(first, fit_id="20300102T030405.678901Z-9f86d081-1"),
        replace(make_fit(2, "gull-2306"), fit_id="20300102T030405.678901Z-9f86d081-2"),
    ]
    found = compare(fits, metrics=("rotor_inertia",), margin=0.001).metric("rotor_inertia").differences[0]
    assert found.verdict == "cannot-be-told-apart"
    assert "cannot be told apart" in found.text
    wide = compare(fits, metrics=("rotor_inertia",), margin=0.5).metric("rotor_inertia").differences[0]
    assert wide.verdict == "equal-in-practice"
    assert wide.probability_within_margin > 0.99


def test_a_shared_gain_scales_a_difference_and_leaves_a_ratio(rng: np.random.Generator) -> None:
    fits = one_bench(rng, [TRUTH, {**TRUTH, "kv": 0.7 * TRUTH["kv"]}])
    difference = compare(fits, metrics=("kv",)).metric("kv").differences[0]
    first, second = (fit.draws["kv"].ravel() for fit in fits)
    alone = np.hypot(np.log(first).std(), np.log(second).std())
    assert difference.ratio_sharper_by == pytest.approx(alone / np.log(first / second).std(), rel=0.02)
    assert difference.ratio_sharper_by > 1.5 * difference.sharper_by
    assert difference.to_json()["ratio_sharper_by"] == difference.ratio_sharper_by
    quantiles = np.quantile(first / second, (0.5, 0.05, 0.95))
    told = re.findall(r"[0-9.]+", difference.text.partition(" by ")[2])
    assert [float(x) for x in told[:3]] == pytest.approx(list(100.0 * (quantiles - 1.0)), abs=0.06)


def test_one_air_for_all(rng: np.random.Generator) -> None:
    fits = pair(rng)
    thin = {**fits[1].constant, "air": {"temperature_c": 30.0, "pressure_hpa": 800.0, "humidity_pct": 10.0}}
    fits[1] = replace(fits[1], constant=thin)
    found = compare(fits, metrics=("max_thrust_n",), current_limit=None, **ASK)  # type: ignore[arg-type]
    assert "common-air" in codes(found)
    assert found.conditions["air"]["pressure_hpa"] == 1010.0
    ratio = found.metric("max_thrust_n").differences[0].ratio[0]
    assert ratio == pytest.approx(1.0, abs=0.02)
    air = Air(30.0, 800.0, 10.0)
    high = compare(fits, metrics=("max_thrust_n",), air=air, current_limit=None, **ASK)  # type: ignore[arg-type]
    lower = high.metric("max_thrust_n").motors["tern-2807"][0]
    assert lower < 0.9 * found.metric("max_thrust_n").motors["tern-2807"][0]


def test_a_propeller_by_geometry_is_the_same_for_all(rng: np.random.Generator) -> None:
    found = compare(pair(rng), metrics=("max_thrust_n",), propeller="8x4x2", voltage_v=16.0)
    difference = found.metric("max_thrust_n").differences[0]
    assert difference.sharper_by > 3.0
    assert any(caution.code == "geometry-only-propeller" for _, caution in found.warnings)


def test_hover_is_at_one_thrust(rng: np.random.Generator) -> None:
    fits = pair(rng)
    found = compare(fits, metrics=("hover_power_w", "max_thrust_n"), **ASK)  # type: ignore[arg-type]
    half = 0.5 * min(spread[0] for spread in found.metric("max_thrust_n").motors.values())
    assert found.conditions["hover_thrust_n"] == pytest.approx(half, rel=0.05)
    assert "hover-thrust-assumed" in codes(found)
    stated = compare(fits, metrics=("hover_power_w",), mass_g=1600.0, motors=4, **ASK)  # type: ignore[arg-type]
    assert stated.conditions["hover_thrust_n"] == pytest.approx(0.4 * 9.80665)
    one = compare(fits, metrics=("electrical_power_w@thrust_n=3.92266",), **ASK)  # type: ignore[arg-type]
    each = one.metrics[0].motors["tern-2807"][0]
    assert stated.metric("hover_power_w").motors["tern-2807"][0] == pytest.approx(4.0 * each, rel=1e-6)


def test_no_mass_is_said(rng: np.random.Generator) -> None:
    fits = one_bench(rng, [TRUTH, TRUTH], facts=[{"mass_g": None}, {}])
    found = compare(fits, metrics=("max_thrust_n_per_gram",), **ASK)  # type: ignore[arg-type]
    assert "no-mass" in codes(found)
    document = found.to_json()["metrics"][0]
    assert document["motors"]["tern-2807"]["median"] is None
    assert document["differences"][0]["verdict"] == "no-answer"


def test_a_voltage_that_turns_nothing_has_no_answer_but_no_fault(rng: np.random.Generator) -> None:
    names = ("max_thrust_n", "peak_efficiency", "rise_time_s", "hover_power_w")
    found = compare(pair(rng), metrics=names, propeller="p7x35x3", voltage_v=0.01)
    document = json.loads(json.dumps(found.to_json(), allow_nan=False))
    by_name = {m["name"]: m for m in document["metrics"]}
    assert by_name["max_thrust_n"]["motors"]["tern-2807"]["median"] == 0.0
    for name in ("rise_time_s", "hover_power_w"):
        assert by_name[name]["motors"]["tern-2807"]["median"] is None
        assert by_name[name]["differences"][0]["verdict"] == "no-answer"
    assert "does-not-turn" in {caution.code for _, caution in found.warnings}


def test_a_score_needs_every_motor(rng: np.random.Generator) -> None:
    fits = one_bench(rng, [TRUTH, TRUTH], facts=[{"mass_g": None}, {}])
    with pytest.raises(AnswerError, match="There is no max_thrust_n_per_gram of tern-2807"):
        compare(fits, weights={"max_thrust_n_per_gram": 1.0}, **ASK)  # type: ignore[arg-type]


def test_the_defaults_are_what_can_be_answered(rng: np.random.Generator) -> None:
    plain = {m.metric.name for m in compare(pair(rng)).metrics}
    assert plain == {"kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia"}
    full = {m.metric.name for m in compare(pair(rng), **ASK).metrics}  # type: ignore[arg-type]
    assert full > plain | {"max_thrust_n", "hover_power_w", "rise_time_s"}


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        ({"metrics": ("max_thrus_n",)}, "metric: 'max_thrus_n' .*Did you mean 'max_thrust_n'"),
        ({"metrics": ("max_thrust_n",)}, "metric: 'max_thrust_n' .*with a propeller stated.*--propeller ID"),
        ({"metrics": ("peak_torque_nm",)}, "with a voltage stated"),
        ({"metrics": ("kv_per_gram",)}, "kv does not grow with a motor's mass"),
        ({"metrics": ("thrust_n@throttle=2",), **ASK}, "a throttle above 0"),
        ({"metrics": ("lift_n@throttle=1",), **ASK}, "CURVE@AXIS=VALUE"),
        ({"metrics": ("kv",), "margin": 1.5}, "margin: 1.5 .* a share from 0 to 1"),
        ({"metrics": ("kv",), "margin": {"kt": 0.1}}, "margin: 'kt' .* one of kv"),
        ({"metrics": ("winding_resistance",), "weights": {"kv": 1.0}}, "weights: 'kv' .*which kv is best"),
        ({"metrics": ("winding_resistance",), "weights": {"winding_resistance": -1.0}}, "0 or more"),
        ({"weights": {"winding_resistance": 0.0}}, "at least one above 0"),
        ({"claims": {"heron:kv": 1300.0}}, "claim: 'heron:kv' .*a motor of tern-2807, gull-2306"),
        ({"claims": {"kv": -2.0}}, "a figure above 0 rpm/V"),
        ({"mass_g": 0.0}, "mass_g: 0.0"),
        ({"motors": 0}, "motors: 0"),
        ({"from_throttle": 1.2}, "from: 1.2"),
        ({"interval": 2.0}, "interval: 2.0"),
    ],
)
def test_a_question_that_cannot_be_asked_says_why(
    rng: np.random.Generator, ask: dict[str, object], message: str
) -> None:
    with pytest.raises(AnswerError, match=message):
        compare(pair(rng), **ask)  # type: ignore[arg-type]


def test_motors_are_named_once_and_at_all(rng: np.random.Generator) -> None:
    fit = pair(rng)[0]
    with pytest.raises(AnswerError, match="every motor once"):
        compare([fit, fit])
    with pytest.raises(AnswerError, match="1 to 100 motors"):
        compare([])
