from __future__ import annotations

import json
import math

import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import Air
from motorfit.answers.predict import predict
from motorfit.physics.air import air_density
from tests.answers.standin import StandIn, make_fit

CURVES = {
    "speed_rpm",
    "thrust_n",
    "torque_nm",
    "current_a",
    "motor_current_a",
    "electrical_power_w",
    "mechanical_power_w",
    "motor_efficiency",
    "thrust_per_watt_g",
}


def codes(prediction: object) -> set[str]:
    return {warning.code for warning in prediction.warnings}  # type: ignore[attr-defined]


def test_json_is_the_contract() -> None:
    prediction = predict(make_fit(), propeller="p7x35x3", voltage_v=22.2, throttle=[0.2, 0.4])
    found = json.loads(json.dumps(prediction.to_json(), allow_nan=False))
    assert found["motor"] == "tern-2807"
    assert found["propeller"] == "p7x35x3"
    assert found["voltage_v"] == 22.2
    assert found["interval"] == 0.9
    assert found["curves"].pop("throttle") == [0.2, 0.4]
    assert set(found["curves"]) == CURVES
    for curve in found["curves"].values():
        assert set(curve) == {"median", "low", "high"}
        for low, median, high in zip(curve["low"], curve["median"], curve["high"], strict=True):
            assert low < median < high
    assert all(set(warning) == {"code", "message"} for warning in found["warnings"])


def closed_form(fit: StandIn, duty: float, voltage: float, temperature_w: float = 25.0) -> float:
    """Speed [rad/s] from the quadratic that torque balance is without Reynolds exponents."""
    one = {name: float(values.ravel()[0]) for name, values in fit.draws.items() if values.ndim == 2}
    k_e = 60.0 / (2.0 * math.pi * one["kv"])
    total = (
        one["winding_resistance"] * (1.0 + 0.00393 * (temperature_w - 25.0)) + one["controller_resistance"]
    )
    rho = float(air_density(18.0, 1010.0, 50.0))
    c_q = float(fit.draws["torque_coefficient"][0, 0, 0])
    load = c_q * rho * (7 * 0.0254) ** 5 / (2.0 * math.pi) ** 2
    a = one["kt"] * (duty * voltage / total - one["drag_current_static"])
    b = one["kt"] * (k_e / total + one["drag_current_slope"])
    return (-b + math.sqrt(b * b + 4.0 * a * load)) / (2.0 * load)


@pytest.mark.parametrize("temperature", [25.0, 90.0])
def test_an_exact_fit_predicts_the_closed_form(temperature: float) -> None:
    fit = make_fit(exact=True)
    duty = 1.0 - 0.98 * 0.5 + 0.02 * 0.25
    found = predict(
        fit,
        propeller="p7x35x3",
        voltage_v=16.0,
        throttle=[0.5],
        current_limit=None,
        winding_temperature_c=temperature,
    )
    omega = closed_form(fit, duty, 16.0, temperature)
    curves = found.curves
    assert curves["speed_rpm"].median[0] == pytest.approx(omega * 60.0 / (2.0 * math.pi), rel=1e-9)
    assert curves["speed_rpm"].low[0] == pytest.approx(curves["speed_rpm"].high[0], rel=1e-12)
    n = omega / (2.0 * math.pi)
    rho = float(air_density(18.0, 1010.0, 50.0))
    assert curves["thrust_n"].median[0] == pytest.approx(0.143 * rho * n**2 * (7 * 0.0254) ** 4, rel=1e-9)
    bus = curves["current_a"].median[0]
    assert bus == pytest.approx(duty * curves["motor_current_a"].median[0] + 0.1, rel=1e-9)
    power = curves["electrical_power_w"].median[0]
    assert power == pytest.approx(16.0 * bus, rel=1e-12)
    shaft = curves["mechanical_power_w"].median[0]
    assert shaft == pytest.approx(curves["torque_nm"].median[0] * omega, rel=1e-12)
    assert curves["motor_efficiency"].median[0] == pytest.approx(shaft / power, rel=1e-12)
    grams = curves["thrust_n"].median[0] / 9.80665 * 1000.0
    assert curves["thrust_per_watt_g"].median[0] == pytest.approx(grams / power, rel=1e-12)


def test_warm_magnets_turn_faster_and_draw_more() -> None:
    fit = make_fit(exact=True)
    cold, warm = (
        predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.3], magnet_temperature_c=t)
        for t in (25.0, 75.0)
    )
    assert warm.curves["speed_rpm"].median[0] > cold.curves["speed_rpm"].median[0]
    assert warm.curves["motor_current_a"].median[0] > cold.curves["motor_current_a"].median[0]


def test_thin_air_gives_less_thrust() -> None:
    fit = make_fit(exact=True)
    sea = predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.5])
    high = predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.5], air=Air(5.0, 700.0, 30.0))
    assert high.curves["thrust_n"].median[0] < 0.85 * sea.curves["thrust_n"].median[0]
    assert high.curves["speed_rpm"].median[0] > sea.curves["speed_rpm"].median[0]


def test_the_bench_limit_holds_unless_another_is_asked_for() -> None:
    fit = make_fit()
    ask = {"propeller": "p7x35x3", "voltage_v": 25.0, "throttle": [1.0]}
    bench = predict(fit, **ask)  # type: ignore[arg-type]
    assert bench.curves["motor_current_a"].median[0] == pytest.approx(40.0, rel=0.005)
    assert bench.curves["motor_current_a"].high[0] > bench.curves["motor_current_a"].low[0]  # it was learned
    own = predict(fit, **ask, current_limit=20.0)  # type: ignore[arg-type]
    assert own.curves["motor_current_a"].high[0] == pytest.approx(20.0, rel=1e-9)
    free = predict(fit, **ask, current_limit=None)  # type: ignore[arg-type]
    assert free.curves["motor_current_a"].low[0] > 45.0
    assert "current-limited" in codes(bench) & codes(own)
    assert "current-limited" not in codes(free)


def test_a_bench_without_a_limit_has_none() -> None:
    fit = make_fit().with_constant(controller={"current_limit_a": None})
    found = predict(fit, propeller="p7x35x3", voltage_v=25.0, throttle=[1.0])
    assert found.curves["motor_current_a"].low[0] > 45.0


def test_a_share_of_the_draws_is_asked_for() -> None:
    fit = make_fit()
    few = predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.5], draws=100)
    every = predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.5])
    assert (few.draws, every.draws) == (100, 1000)
    spread = every.curves["thrust_n"].high[0] - every.curves["thrust_n"].low[0]
    assert few.curves["thrust_n"].median[0] == pytest.approx(
        every.curves["thrust_n"].median[0], abs=0.3 * spread
    )
    assert "fewer-draws" in codes(
        predict(fit, propeller="p7x35x3", voltage_v=16.0, throttle=[0.5], draws=5000)
    )
    with pytest.raises(AnswerError, match="draws: 0 cannot be used"):
        predict(fit, propeller="p7x35x3", voltage_v=16.0, draws=0)


def test_the_default_grid_covers_the_throttle() -> None:
    grid = predict(make_fit(), propeller="p7x35x3", voltage_v=16.0).throttle
    assert grid[0] == 0.05
    assert grid[-1] == 1.0
    assert len(grid) == 20


def test_the_same_question_has_the_same_answer() -> None:
    first, second = (predict(make_fit(), propeller="8x4x2", voltage_v=16.0).to_json() for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        ({"voltage_v": 0.0}, "voltage: 0.0 cannot be used; allowed: above 0"),
        ({"voltage_v": math.nan}, "voltage: nan cannot be used"),
        (
            {"throttle": [0.2, 40.0]},
            "throttle: 40.0 cannot be used; allowed: fractions from 0 to 1. Full throttle",
        ),
        ({"throttle": [math.nan]}, "throttle: nan"),
        ({"throttle": []}, "throttle: .* a list of 1 to 2000 points"),
        ({"current_limit": -3.0}, "current_limit: -3.0 .* above 0 A"),
        ({"current_limit": "stand"}, "current_limit: 'stand'"),
        ({"winding_temperature_c": 900.0}, "winding_temperature_c: 900.0 .* -60 to 250 degC"),
        ({"interval": 90.0}, "interval: 90.0"),
        (
            {"propeller": "p7x35x4"},
            r"allowed: an id of the fit \(p7x35x3, p6x4x3, p9x5x2\) or .* mean 'p7x35x3'",
        ),
        ({"propeller": "7x4.5"}, "DIAMETERxPITCHxBLADES in inches.* such as 7x4.5x2"),
        ({"propeller": "90x45x2"}, "1 to 60 inches"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(ask: dict[str, object], message: str) -> None:
    with pytest.raises(AnswerError, match=message):
        predict(make_fit(), **{"propeller": "p7x35x3", "voltage_v": 16.0, **ask})  # type: ignore[arg-type]


def test_a_fit_without_torque_constant_is_refused() -> None:
    fit = make_fit()
    del fit.draws["kt"]
    with pytest.raises(AnswerError, match="a fit that holds kt"):
        predict(fit, propeller="p7x35x3", voltage_v=16.0)
