from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.limits import Limits
from motorfit.answers.propeller_stated import StatedPropeller
from motorfit.answers.propellers import propeller_draws
from motorfit.answers.question import machine_of
from motorfit.answers.step import POINTS, step, step_draws
from motorfit.answers.supply import PackChoice
from tests.answers.standin import StandIn, make_fit

ASK: Mapping[str, Any] = {
    "propeller": "p7x35x3", "voltage_v": 16.0, "from_throttle": 0.2, "to_throttle": 0.6,
}  # fmt: skip


def braking(fit: StandIn, share: float) -> StandIn:
    """The stand-in with a braking share that its runs taught."""
    shape = fit.draws["kv"].shape
    known = fit.with_draws(braking_share=np.full(shape, share))
    known.prior["braking_share"] = np.random.default_rng(1).uniform(0.0, 1.0, (1, 1000))
    return known


def codes(answer: Any) -> set[str]:
    return {warning.code for warning in answer.warnings}


def test_json_has_the_times_rates_and_speeds() -> None:
    found = json.loads(json.dumps(step(make_fit(), **ASK).to_json(), allow_nan=False))
    assert (found["from"], found["to"], found["voltage_v"]) == (0.2, 0.6, 16.0)
    for name in POINTS:
        assert found[name]["low"] < found[name]["median"] < found[name]["high"], name
    assert found["start_speed_rpm"]["median"] < found["end_speed_rpm"]["median"]
    assert "curves" not in found


def test_the_order_of_the_throttles_does_not_matter() -> None:
    turned = dict(ASK) | {"from_throttle": 0.6, "to_throttle": 0.2}
    assert step(make_fit(), **turned).to_json() == step(make_fit(), **ASK).to_json()


def test_less_braking_falls_later_and_rises_the_same() -> None:
    hard, soft = (step(braking(make_fit(exact=True), share), **ASK) for share in (1.0, 0.0))
    assert soft.points["fall_time_s"].median[0] > 2.0 * hard.points["fall_time_s"].median[0]
    assert soft.points["rise_time_s"].median[0] == hard.points["rise_time_s"].median[0]
    assert "braking-not-learned" not in codes(hard)
    assert "braking-not-learned" in codes(step(make_fit(), **ASK))


def test_all_that_turns_counts() -> None:
    fit = make_fit(exact=True)
    double = fit.with_draws(
        rotor_inertia=2.0 * fit.draws["rotor_inertia"], prop_inertia=2.0 * fit.draws["prop_inertia"]
    )
    once, twice = (step(f, **ASK).points["rise_time_s"].median[0] for f in (fit, double))
    assert twice == pytest.approx(2.0 * once, rel=1e-9)


def test_the_peak_is_that_of_the_jump() -> None:
    fit = make_fit(exact=True)
    one = {name: float(values.ravel()[0]) for name, values in fit.draws.items()}
    found = step(fit, **ASK, current_limit=None).points
    omega = found["start_speed_rpm"].median[0] * 2.0 * math.pi / 60.0
    duty = 1.0 - 0.98 * 0.4 + 0.02 * 0.6 * 0.4
    k_e = 60.0 / (2.0 * math.pi * one["kv"])
    current = (duty * 16.0 - k_e * omega) / (one["winding_resistance"] + one["controller_resistance"])
    assert found["peak_motor_current_a"].median[0] == pytest.approx(current, rel=1e-9)
    limited = step(fit, **ASK, current_limit=12.0).points
    assert limited["peak_motor_current_a"].median[0] == pytest.approx(12.0)
    assert limited["rise_time_s"].median[0] > found["rise_time_s"].median[0]


def test_curves_start_and_end_where_the_speeds_are() -> None:
    found = step(make_fit(exact=True), **ASK, times_s=[0.0, 0.02, 5.0])
    up, down = found.curves["speed_up_rpm"].median, found.curves["slow_down_rpm"].median
    low, high = (found.points[name].median[0] for name in ("start_speed_rpm", "end_speed_rpm"))
    assert (up[0], up[-1]) == (pytest.approx(low), pytest.approx(high))
    assert (down[0], down[-1]) == (pytest.approx(high), pytest.approx(low))
    assert low < up[1] < high
    assert found.to_json()["curves"]["time_s"] == [0.0, 0.02, 5.0]


def test_held_at_the_limit_at_both_throttles_there_is_no_time() -> None:
    found = step(make_fit(), propeller="p7x35x3", voltage_v=25.0, from_throttle=0.9, to_throttle=1.0,
                 current_limit=8.0)  # fmt: skip
    assert found.to_json()["rise_time_s"] == {"median": None, "low": None, "high": None}
    assert {"no-speed-change", "current-limited"} <= codes(found)


def test_any_propeller_and_a_pack_have_an_answer() -> None:
    found = step(make_fit(), propeller="8x4x2", pack=PackChoice(4, 1500.0), motors=4, from_throttle=0.0,
                 to_throttle=1.0, times_s=[0.1])  # fmt: skip
    document = found.to_json()
    assert document["pack"]["cells"] == 4
    assert document["rise_time_s"]["high"] > document["rise_time_s"]["low"]
    assert {"geometry-only-propeller", "pack-resistance-assumed"} <= codes(found)


def test_a_start_from_rest_is_warned_of() -> None:
    fit = make_fit()
    fit = fit.with_draws(duty_slope=np.ones_like(fit.draws["duty_slope"]))
    found = step(fit, **(dict(ASK) | {"from_throttle": 0.0}))
    assert found.points["start_speed_rpm"].median[0] == 0.0
    assert found.points["rise_time_s"].low[0] > 0.0
    assert "starts-from-rest" in codes(found)


def test_an_inertia_is_learned_as_the_sum_that_turns() -> None:
    fit = make_fit()
    assert "inertia-not-learned" not in codes(step(fit, **ASK))
    rng = np.random.default_rng(2)
    shape = fit.draws["rotor_inertia"].shape
    wide = fit.with_draws(prop_inertia=1.5e-5 * np.exp(0.5 * rng.normal(size=(*shape, 3))))
    assert "inertia-not-learned" in codes(step(wide, **ASK))
    # neither is known alone, but their sum is
    share = rng.uniform(0.1, 0.4, shape)
    split = fit.with_draws(
        rotor_inertia=2e-5 * share, prop_inertia=np.repeat(2e-5 * (1.0 - share)[..., np.newaxis], 3, axis=-1)
    )
    assert "inertia-not-learned" not in codes(step(split, **ASK))


def test_an_inertia_by_geometry_alone_is_said_to_be_rough() -> None:
    rough = step(make_fit(), **(dict(ASK) | {"propeller": "7x4.5x2"}))
    (said,) = (w.message for w in rough.warnings if w.code == "inertia-not-learned")
    assert "of 7x4.5x2 is known to no better than " in said
    told = StatedPropeller(
        name="weighed", diameter_in=7, pitch_in=4.5, blades=2, inertia_kg_m2=1.2e-5, inertia_sd_kg_m2=4e-7
    )
    known = step(make_fit(), **(dict(ASK) | {"propeller": propeller_draws(make_fit(), told)}))
    assert "inertia-not-learned" not in codes(known)


def test_limits_are_warned_of_with_numbers() -> None:
    limits = Limits(propeller_speed_rpm=5000.0, current_a=5.0)
    found = step(make_fit(), **ASK, limits=limits)
    messages = {w.code: w.message for w in found.warnings}
    assert "above the limit of 5000 rpm" in messages["over-speed"]
    assert "above the limit of 5 A" in messages["over-current"]


def test_draws_keep_their_order_for_comparisons() -> None:
    fit = make_fit()
    draws = step_draws(machine_of(fit, "p7x35x3", voltage_v=16.0), 0.2, 0.6)
    assert draws.rise_time_s.shape == (1000,)
    some = step_draws(machine_of(fit, "p7x35x3", voltage_v=16.0, draws=10), 0.2, 0.6)
    np.testing.assert_allclose(some.rise_time_s, draws.rise_time_s[::100])


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        ({"to_throttle": 0.2}, r"to: 0\.2 .* a throttle other than 0\.2"),
        ({"to_throttle": 40.0}, r"to: 40\.0 .* fractions from 0 to 1"),
        ({"times_s": [0.2, 0.1]}, "times: .* rising"),
        ({"voltage_v": None}, "voltage: None .* either a voltage or a pack"),
        ({"pack": PackChoice(4, 1500.0)}, r"voltage: 16\.0 .* either a voltage or a pack"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(ask: dict[str, Any], message: str) -> None:
    with pytest.raises(AnswerError, match=message):
        step(make_fit(), **(dict(ASK) | ask))
