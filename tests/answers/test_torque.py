from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.shaft import torque_curve
from motorfit.answers.supply import PackChoice
from tests.answers.standin import make_fit


def test_json_has_the_points_and_the_curves() -> None:
    answer = torque_curve(make_fit(), voltage_v=16.0, current_limit=None)
    found = json.loads(json.dumps(answer.to_json(), allow_nan=False))
    for name in ("no_load_speed_rpm", "stall_torque_nm", "peak_torque_nm", "torque_slope_nm_per_rpm"):
        assert found[name]["low"] < found[name]["median"] < found[name]["high"], name
    curve = found["curves"]
    assert curve["speed_rpm"][0] == 0.0
    assert curve["torque_nm"]["median"][0] == pytest.approx(found["stall_torque_nm"]["median"])
    assert curve["motor_efficiency"]["median"][0] == 0.0
    torque = curve["torque_nm"]["median"][:-1]
    assert all(a > b for a, b in pairwise(torque))
    assert {w["code"] for w in found["warnings"]} >= {"stall", "outside-tested-current"}


def test_points_of_the_users_and_a_pack() -> None:
    ask: dict[str, Any] = {"throttle": 0.5, "current_limit": None}
    speeds = [0.0, 5000.0, 90000.0]
    answer = torque_curve(make_fit(), pack=PackChoice(4, 1500.0), speed_rpm=speeds, **ask)
    assert np.isnan(answer.curves["torque_nm"].median[2])  # far above no load
    stiff = torque_curve(make_fit(), voltage_v=16.8, speed_rpm=[5000.0], **ask)
    assert answer.curves["torque_nm"].median[1] < stiff.curves["torque_nm"].median[0]
    assert answer.to_json()["pack"]["cells"] == 4


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        ({"voltage_v": -1.0}, r"voltage: -1\.0"),
        ({"voltage_v": 16.0, "throttle": 50.0}, r"throttle: 50\.0"),
        ({"voltage_v": 16.0, "speed_rpm": [-5.0]}, r"points: -5\.0"),
        ({}, "either a voltage or a pack"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(ask: dict[str, Any], message: str) -> None:
    with pytest.raises(AnswerError, match=message):
        torque_curve(make_fit(), **ask)


@pytest.mark.parametrize("ask", [{"throttle": 0.0}, {"current_limit": 0.05}])
def test_a_shaft_that_does_not_turn_has_two_points_and_one_caution(ask: dict[str, Any]) -> None:
    answer = torque_curve(make_fit(), voltage_v=16.0, **ask)
    found = answer.to_json()
    assert found["no_load_speed_rpm"]["median"] == 0.0
    assert found["stall_motor_current_a"]["median"] is None  # not none at all: nobody can say
    assert found["torque_slope_nm_per_rpm"]["median"] is None
    assert found["curves"]["speed_rpm"] == [0.0]
    (said,) = (w for w in answer.warnings if w.code == "does-not-turn")
    assert "100 %" in said.message
    assert not {"stall", "outside-tested-current"} & {w.code for w in answer.warnings}


def test_a_voltage_beyond_the_runs_is_named_with_both() -> None:
    answer = torque_curve(make_fit(), voltage_v=60.0)
    (said,) = (w.message for w in answer.warnings if w.code == "outside-tested-voltage")
    assert said.startswith("60 V lies outside the ")
    inside = torque_curve(make_fit(), voltage_v=22.0)
    assert "outside-tested-voltage" not in {w.code for w in inside.warnings}
