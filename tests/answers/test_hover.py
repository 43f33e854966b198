from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.hover import hover, thrust_point
from motorfit.answers.limits import Limits
from motorfit.answers.predict import predict
from motorfit.answers.question import machine_of
from motorfit.answers.supply import PackChoice
from tests.answers.heated import warm
from tests.answers.standin import make_fit

# a resistance that is given has no scatter
PACK = PackChoice(4, 1500.0, cell_resistance_ohm=0.005, capacity_sd_mah=0.0)
ASK: Mapping[str, Any] = {"propeller": "p7x35x3", "pack": PACK, "mass_g": 1000.0}


def codes(answer: Any) -> set[str]:
    return {warning.code for warning in answer.warnings}


def test_json_answers_every_question_with_a_band() -> None:
    found = json.loads(json.dumps(hover(make_fit(), **ASK).to_json(), allow_nan=False))
    for name in ("hover_throttle", "current_a", "hover_power_w", "flight_time_s", "thrust_to_weight"):
        assert found[name]["low"] < found[name]["median"] < found[name]["high"], name
    assert found["motors"] == 4
    assert found["steady_winding_temperature_c"] is None  # never learned
    assert found["continuous_motor_current_a"] is None


def test_the_throttle_gives_the_thrust_when_put_back() -> None:
    fit = make_fit(exact=True)
    pack = PackChoice(4, 1500.0, cell_resistance_ohm=0.005, capacity_sd_mah=0.0)
    found = hover(fit, **ASK).points
    back = predict(
        fit, propeller="p7x35x3", pack=pack, motors=4, throttle=[found["hover_throttle"].median[0]]
    )
    # the open-circuit voltage has a scatter of its own, so medians agree to its second order
    assert back.curves["thrust_n"].median[0] == pytest.approx(9.80665 / 4.0, rel=1e-3)
    assert back.curves["pack_current_a"].median[0] == pytest.approx(found["current_a"].median[0], rel=1e-3)
    assert found["pack_voltage_v"].median[0] == pytest.approx(
        back.curves["bus_voltage_v"].median[0], rel=1e-4
    )


def test_flight_time_is_charge_over_a_current_between_those_of_start_and_end() -> None:
    found = hover(make_fit(exact=True), **ASK, reserve=0.3).points
    time = found["flight_time_s"].median[0]
    longest, shortest = (0.7 * 5400.0 / found[name].median[0] for name in ("current_a", "current_end_a"))
    assert shortest < time < longest
    assert time == pytest.approx(0.5 * (shortest + longest), rel=0.02)
    double = hover(make_fit(exact=True), **(dict(ASK) | {"pack": PackChoice(4, 3000.0, 1.0, 0.005)})).points
    single = hover(make_fit(exact=True), **ASK).points
    assert double["flight_time_s"].median[0] == pytest.approx(
        2.0 * single["flight_time_s"].median[0], rel=0.01
    )


def test_what_is_not_known_of_the_pack_widens_the_answer() -> None:
    fit = make_fit(exact=True)
    known = hover(fit, **ASK)
    open_ = hover(fit, **(dict(ASK) | {"pack": PackChoice(4, 1500.0)}))

    def width(answer: Any, name: str) -> float:
        return float(answer.points[name].high[0] - answer.points[name].low[0])

    assert width(open_, "flight_time_s") > 5.0 * width(known, "flight_time_s")
    assert width(open_, "pack_voltage_v") > 1.5 * width(known, "pack_voltage_v")
    assert "pack-resistance-assumed" in codes(open_)
    assert "pack-resistance-assumed" not in codes(known)


def test_too_heavy_is_no_refusal_but_a_null_with_its_reason() -> None:
    found = hover(make_fit(), **(dict(ASK) | {"mass_g": 9000.0}))
    assert found.to_json()["hover_throttle"]["median"] is None
    share = found.to_json()["thrust_to_weight"]
    assert share["median"] < 1.0
    first = found.warnings[0]
    assert first.code == "cannot-hover"
    carried = f"{9000.0 * share['low']:.4g} to {9000.0 * share['high']:.4g} g"
    assert carried in first.message
    # said once, and nothing of a hover that there is not
    assert not {"thin-margin", "winding-temperature"} & codes(found)


def test_no_temperature_is_given_of_a_hover_that_cannot_be() -> None:
    fit = warm(make_fit(exact=True), 0.0)
    held = hover(fit, **ASK, current_limit=1.0)
    assert "cannot-hover" in codes(held)
    assert held.to_json()["steady_winding_temperature_c"]["median"] is None
    assert held.points["continuous_motor_current_a"].median[0] > 0.0  # of the motor, whatever is flown


def test_a_cold_weak_pack_collapses_before_the_reserve() -> None:
    weak = PackChoice(3, 650.0, 1.0, 0.03, temperature_c=-10.0, capacity_sd_mah=0.0)
    found = hover(make_fit(exact=True), propeller="p7x35x3", pack=weak, mass_g=900.0, reserve=0.05)
    assert "pack-collapse" in codes(found)
    end = found.points["end_charge"].median[0]
    assert end > 0.06
    (said,) = (w.message for w in found.warnings if w.code == "pack-collapse")
    assert f"at {100.0 * end:.0f} %" in said
    assert found.points["flight_time_s"].median[0] > 0.0


def test_heat_that_was_learned_gives_temperature_and_continuous_current() -> None:
    fit = warm(make_fit(exact=True), 0.0)
    found = hover(fit, **ASK, winding_limit_c=100.0)
    points = found.points
    assert 18.0 < points["steady_winding_temperature_c"].median[0] < 100.0
    assert points["continuous_motor_current_a"].median[0] > points["motor_current_a"].median[0]
    assert "heat-not-learned" not in codes(found)
    # hotter than the limit: it is warned of, and the continuous current is below the one of hover
    hot = hover(warm(make_fit(exact=True), 0.0, body=60.0), **ASK, winding_limit_c=60.0)
    assert "winding-temperature" in codes(hot)
    current = hot.points["continuous_motor_current_a"].median[0]
    assert current < hot.points["motor_current_a"].median[0]


def test_the_continuous_current_settles_at_the_limit() -> None:
    fit = warm(make_fit(exact=True), 0.0)
    limit = 80.0
    current = hover(fit, **ASK, winding_limit_c=limit).points["continuous_motor_current_a"].median[0]
    # the mass at which the settled winding is at the limit asks for that current
    low, high = 100.0, 8000.0
    for _ in range(40):
        mass = 0.5 * (low + high)
        settled = (
            hover(fit, **(dict(ASK) | {"mass_g": mass})).points["steady_winding_temperature_c"].median[0]
        )
        low, high = (mass, high) if settled < limit else (low, mass)
    body = 18.0 + 2.0 / 3.0 * (limit - 18.0)  # not exact: iron warms the body alone
    cold = hover(fit, **(dict(ASK) | {"mass_g": low})).points["motor_current_a"].median[0]
    assert current == pytest.approx(cold / (1.0 - 0.0011 * (body - 25.0)), rel=0.02)


def test_heat_as_wide_as_its_prior_is_not_learned() -> None:
    found = hover(warm(make_fit(), 0.7), **ASK)
    assert "heat-not-learned" in codes(found)
    assert "steady_winding_temperature_c" not in found.points


def test_limits_are_warned_of() -> None:
    found = hover(make_fit(), **ASK, limits=Limits(propeller_speed_rpm=4000.0, pack_current_a=5.0))
    assert {"over-speed", "over-current"} <= codes(found)


def test_a_thrust_from_an_ideal_supply_for_comparisons() -> None:
    point = thrust_point(machine_of(make_fit(), "p7x35x3", voltage_v=16.0), 3.0)
    assert point.electrical_power_w.shape == (1000,)
    np.testing.assert_allclose(point.electrical_power_w, 16.0 * point.current_a)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        ({"mass_g": 0.0}, r"mass_g: 0\.0"),
        ({"motors": 0}, "motors: 0"),
        ({"reserve": 1.0}, r"reserve: 1\.0"),
        ({"pack": PackChoice(4, 1500.0, 0.15)}, r"reserve: 0\.2 .* below the charge at the start, 0\.15"),
        ({"winding_limit_c": 300.0}, r"winding_limit_c: 300\.0"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(ask: dict[str, Any], message: str) -> None:
    with pytest.raises(AnswerError, match=message):
        hover(make_fit(), **(dict(ASK) | ask))


def test_a_pack_that_cannot_be_is_refused() -> None:
    with pytest.raises(AnswerError, match="cells: 0 cannot be used; allowed: a whole number from 1 to 28"):
        PackChoice(0, 1500.0)
    with pytest.raises(AnswerError, match=r"charge: 80 .* 0 to 1"):
        PackChoice(4, 1500.0, 80)
    with pytest.raises(AnswerError, match=r"cell_resistance_ohm: 5\.0 .* not milliohms"):
        PackChoice(4, 1500.0, 1.0, 5.0)
