"""Predictions over axes of the user's, and from packs."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from motorfit.answers.axis import AXIS_NAMES
from motorfit.answers.errors import AnswerError
from motorfit.answers.limits import Limits
from motorfit.answers.predict import predict
from motorfit.answers.supply import PackChoice
from tests.answers.heated import warm
from tests.answers.standin import make_fit

CURVE = {
    "speed": "speed_rpm",
    "torque": "torque_nm",
    "thrust": "thrust_n",
    "mechanical_power": "mechanical_power_w",
    "electrical_power": "electrical_power_w",
    "current": "current_a",
}


def codes(prediction: Any) -> set[str]:
    return {warning.code for warning in prediction.warnings}


@pytest.mark.parametrize("axis", sorted(CURVE))
@pytest.mark.parametrize("pack", [None, PackChoice(4, 1500.0, cell_resistance_ohm=0.004)])
def test_an_exact_fit_comes_back_to_its_throttle(axis: str, pack: PackChoice | None) -> None:
    fit = make_fit(exact=True)
    # one draw: the pack's doubt would move medians
    supply: dict[str, Any] = {"voltage_v": 16.0} if pack is None else {"pack": pack, "motors": 2}
    ask: dict[str, Any] = {"propeller": "p7x35x3", "draws": 1, **supply}
    there = predict(fit, **ask, throttle=[0.3, 0.7])
    back = predict(fit, **ask, against=axis, points=there.curves[CURVE[axis]].median)
    np.testing.assert_allclose(back.throttle, [0.3, 0.7], rtol=1e-6)
    for name, curve in back.curves.items():
        if name != "throttle":
            np.testing.assert_allclose(curve.median, there.curves[name].median, rtol=1e-6)
    document = back.to_json()
    assert document["against"] == axis
    assert isinstance(document["curves"][CURVE[axis]], list)
    assert set(document["curves"]["throttle"]) == {"median", "low", "high"}


def test_throttle_is_an_axis_too() -> None:
    fit = make_fit()
    one = predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.2, 0.4])
    other = predict(fit, propeller="p7x35x3", voltage_v=16.0, against="throttle", points=[0.2, 0.4])
    assert one.to_json() == other.to_json()
    assert set(AXIS_NAMES) == set(CURVE) | {"throttle"}


def test_what_a_draw_cannot_reach_is_null_and_said() -> None:
    fit = make_fit()
    most = predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[1.0]).curves["thrust_n"]
    points = [0.5 * most.median[0], most.median[0], 2.0 * most.median[0]]
    found = predict(fit, propeller="p7x35x3", voltage_v=16.0, against="thrust", points=points)
    assert np.isnan(found.curves["current_a"].median).tolist()[::2] == [False, True]
    assert {"out-of-reach", "no-answer"} <= codes(found)
    assert "100 % of the draws" in next(w.message for w in found.warnings if w.code == "out-of-reach")
    json.dumps(found.to_json(), allow_nan=False)


def test_a_pack_sags_more_the_more_motors_it_feeds() -> None:
    fit = make_fit(exact=True)
    pack = PackChoice(4, 1500.0, cell_resistance_ohm=0.004)
    ask: dict[str, Any] = {"propeller": "p7x35x3", "pack": pack, "throttle": [0.0, 0.8]}
    one, four = (predict(fit, **ask, motors=n).curves for n in (1, 4))
    assert four["bus_voltage_v"].median[1] < one["bus_voltage_v"].median[1] < one["bus_voltage_v"].median[0]
    assert four["thrust_n"].median[1] < one["thrust_n"].median[1]
    np.testing.assert_allclose(four["pack_current_a"].median, 4.0 * four["current_a"].median)
    # sag and operating point agree: E - R I of all motors is the bus voltage, draw by draw
    single = predict(fit, **ask, motors=4, draws=1)
    resistance = float(pack.pack().resistance(25.0))
    sag = single.voltage_v - single.curves["bus_voltage_v"].median
    np.testing.assert_allclose(sag, resistance * single.curves["pack_current_a"].median, rtol=1e-9)


def test_an_empty_or_cold_pack_gives_less() -> None:
    fit = make_fit(exact=True)
    ask: dict[str, Any] = {"propeller": "p7x35x3", "throttle": [1.0], "current_limit": None}
    full, half, cold = (
        predict(fit, **ask, pack=pack).curves["thrust_n"].median[0]
        for pack in (
            PackChoice(4, 1500.0),
            PackChoice(4, 1500.0, 0.5),
            PackChoice(4, 1500.0, temperature_c=-15.0),
        )
    )
    assert full > half > 0.0
    assert full > cold > 0.0


def test_limits_and_sag_are_warned_of_with_numbers() -> None:
    limits = Limits(propeller_speed_rpm=9000.0, current_a=4.0, pack_current_a=20.0)
    found = predict(make_fit(), propeller="p7x35x3", pack=PackChoice(4, 650.0), motors=4, limits=limits)
    messages = [w.message for w in found.warnings if w.code in ("over-speed", "over-current", "pack-sag")]
    assert len(messages) == 4
    assert any("above the limit of 9000 rpm" in m for m in messages)
    assert any("pack may have to give" in m and "20 A" in m for m in messages)
    assert any("below 3.3 V" in m for m in messages)
    with pytest.raises(AnswerError, match=r"max_current_a: -1\.0 .* above 0"):
        Limits(current_a=-1.0)


def test_without_the_bench_limit_its_passing_is_said() -> None:
    ask: dict[str, Any] = {"propeller": "p7x35x3", "voltage_v": 25.0, "throttle": [1.0]}
    assert "over-current" in codes(predict(make_fit(), **ask, current_limit=None))
    assert "over-current" not in codes(predict(make_fit(), **ask))


@pytest.mark.parametrize("against", ["throttle", "thrust", "torque"])
def test_a_winding_that_would_settle_too_hot_is_warned_of_where_heat_was_learned(against: str) -> None:
    points = {"throttle": [0.1, 1.0], "thrust": [0.5, 8.0], "torque": [0.005, 0.1]}[against]
    ask: dict[str, Any] = {"propeller": "p7x35x3", "voltage_v": 16.0, "against": against, "points": points}
    assert "winding-temperature" not in codes(predict(make_fit(), **ask))
    found = predict(warm(make_fit(), 0.05, body=4.0), **ask)
    message = next(w.message for w in found.warnings if w.code == "winding-temperature")
    assert f"{points[1]:g} the winding" in message
    assert "above 120 degC" in message
    cool = predict(warm(make_fit(), 0.05, body=4.0), **(ask | {"points": points[:1]}))
    assert "winding-temperature" not in codes(cool)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        ({"against": "noise", "points": [1.0]}, "against: 'noise' .* throttle, speed"),
        ({"against": "thrust"}, "points: None .* points of thrust in N"),
        ({"against": "thrust", "points": [0.0]}, r"points: 0\.0 .* above 0 in N"),
        ({"against": "thrust", "points": [1.0], "throttle": [0.5]}, "points of thrust alone"),
        ({"points": [0.5], "throttle": [0.5]}, "not both"),
        ({"motors": 0}, "motors: 0"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(ask: dict[str, Any], message: str) -> None:
    with pytest.raises(AnswerError, match=message):
        predict(make_fit(), propeller="p7x35x3", voltage_v=16.0, **ask)
