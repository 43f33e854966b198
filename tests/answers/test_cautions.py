from __future__ import annotations

import numpy as np
import pytest

from motorfit.answers.predict import Prediction, predict
from tests.answers.standin import StandIn, make_fit


def ask(propeller: str = "p7x35x3", voltage: float = 22.0, **more: object) -> Prediction:
    fit = more.pop("fit", None) or make_fit()
    return predict(fit, propeller=propeller, voltage_v=voltage, **more)  # type: ignore[arg-type]


def message(prediction: Prediction, code: str) -> str:
    return next(warning.message for warning in prediction.warnings if warning.code == code)


def codes(prediction: Prediction) -> set[str]:
    return {warning.code for warning in prediction.warnings}


def test_inside_what_was_tested_nothing_is_said() -> None:
    assert ask(throttle=[0.3, 0.5, 0.7]).warnings == ()


def test_speed_beyond_the_runs_is_named_with_both_spans() -> None:
    text = message(ask(throttle=[0.5, 0.95, 1.0], current_limit=None), "outside-tested-speed")
    assert text.startswith("At throttle 0.95 to 1 the predicted speed (2")
    assert "lies outside the 2500 to 19000 rpm of the runs of tern-2807 with p7x35x3" in text


def test_a_voltage_off_the_tested_one_is_named() -> None:
    assert message(ask(voltage=14.8, throttle=[0.5]), "outside-tested-voltage") == (
        "14.8 V lies outside the 21.6 to 22.3 V of the runs of tern-2807 with p7x35x3."
    )
    assert "outside-tested-voltage" not in codes(ask(voltage=22.5, throttle=[0.5]))  # within 2 %


def test_a_current_beyond_the_runs_is_named() -> None:
    found = ask(throttle=[1.0], current_limit=None)
    assert "34 A of the runs" in message(found, "outside-tested-current")


def test_an_untested_propeller_is_measured_against_all_runs() -> None:
    found = ask("p6x4x3", throttle=[0.5])
    assert message(found, "propeller-tested-elsewhere").startswith("p6x4x3 was not run on tern-2807")
    assert "outside-tested-speed" not in codes(found)  # 2500 to 25000 rpm overall


def test_a_propeller_nobody_ran_is_named() -> None:
    text = message(ask("p9x5x2", throttle=[0.3]), "propeller-not-learned")
    assert "thrust_coefficient and torque_coefficient of p9x5x2 were not learned" in text
    assert "a ramp or table with propeller p9x5x2" in text


def test_geometry_alone_is_named() -> None:
    found = ask("7x4.5x2", throttle=[0.3])
    assert "7x4.5x2 was not tested" in message(found, "geometry-only-propeller")
    assert "propeller-not-learned" not in codes(found)


def test_fast_tips_are_named_with_their_mach_number() -> None:
    found = ask("7x4x2", voltage=25.0, throttle=[1.0], current_limit=None)
    assert "the blade tips reach Mach 0." in message(found, "tip-mach")
    assert "tip-mach" not in codes(ask(throttle=[1.0]))


def test_the_current_limit_is_named_with_its_share() -> None:
    text = message(ask(voltage=25.0, throttle=[0.1, 0.9, 1.0]), "current-limited")
    assert text == (
        "At throttle 0.9 to 1 the controller's current limit holds in 100 % of the draws; throttle says "
        "little there."
    )


def still(fit: StandIn) -> StandIn:
    """A fit whose duty is 0 below a tenth of the throttle, and whose controller draws nothing."""
    nothing = np.zeros_like(fit.draws["kv"])
    return fit.with_draws(duty_slope=nothing + 1.2, duty_curvature=nothing, controller_idle_current=nothing)


def test_a_throttle_too_small_to_turn_has_no_efficiency() -> None:
    found = ask(fit=still(make_fit()), throttle=[0.05, 0.5])
    assert message(found, "does-not-turn") == "At throttle 0.05 the shaft stands still in 100 % of the draws."
    curves = found.to_json()["curves"]
    assert curves["speed_rpm"]["median"][0] == 0.0
    assert curves["thrust_n"]["median"][0] == 0.0
    assert curves["motor_efficiency"]["median"][0] is None
    assert curves["thrust_per_watt_g"]["high"][0] is None
    assert "null) for motor_efficiency, thrust_per_watt_g" in message(found, "no-answer")


def test_what_the_runs_did_not_teach_of_the_motor_is_named() -> None:
    fit = make_fit()
    fit.prior["kt"] = fit.draws["kt"].reshape(1, -1)
    text = message(ask(fit=fit, throttle=[0.5]), "parameters-not-learned")
    assert text.startswith("kt of tern-2807 were not learned")
    assert "flywheel" in text


@pytest.mark.parametrize("envelope", [{}, {"overall": {"speed_rpm": None}}])
def test_a_fit_without_envelope_says_so(envelope: dict[str, object]) -> None:
    assert "no-envelope" in codes(ask(fit=make_fit().with_constant(envelope=envelope), throttle=[0.5]))


def test_a_channel_that_was_not_logged_is_named() -> None:
    spans = {"overall": {"speed_rpm": [100.0, 30000.0], "voltage_v": None, "current_a": [0.0, 50.0]}}
    found = ask(fit=make_fit().with_constant(envelope=spans), throttle=[0.5])
    assert message(found, "outside-tested-voltage") == "No voltage was logged in the runs of tern-2807."
