"""A fit that knows everything must predict what the simulator, which shares no formula with it, then does."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchmarks.prediction_truth import TrueMachine, TruePack, heat, hover, shaft, steady, step
from motorfit.answers import hover as hover_answers
from motorfit.answers.predict import predict
from motorfit.answers.shaft import torque_curve
from motorfit.answers.step import step as step_answer
from motorfit.answers.supply import PackChoice, pack_draws
from motorfit.calibration.judge import Fitted
from motorfit.physics.air import air_density
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import draw_scenario
from motorfit.synthetic.truth import Truth

HEAT = {
    "winding_heat_capacity": 1.0, "winding_time_constant": 0.0, "body_heat_capacity": 1.0,
    "body_time_constant": 0.0,
}  # fmt: skip
"""What warms, and by which power of a common scale it varies in the prior."""
DRAWS = 3


def truth_of(seed: int) -> Truth:
    made = draw_scenario(np.random.default_rng(seed), BenchOptions.rich(motors=1, propellers=1))
    air = made.air
    return Truth(
        campaign=Path("none"),
        seed=seed,
        air=air,
        density=float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct)),
        stand=made.stand.parameters,
        motors={m.id: m for m in made.motors},
        propellers={p.id: p for p in made.propellers if p.tested},
        flywheels={},
        curves=(),
    )


def all_knowing(truth: Truth) -> Fitted:
    """Three draws, all of them the truth; a wide prior of what warms, so that heat counts as learned."""
    (motor,) = truth.motors.values()
    (screw,) = truth.propellers.values()
    draws = {name: np.full((1, DRAWS), value) for name, value in {**truth.stand, **motor.parameters}.items()}
    draws |= {name: np.full((1, DRAWS, 1), value) for name, value in screw.parameters.items()}
    air = truth.air
    shape = {
        "diameter_m": 0.0254 * screw.diameter_in, "pitch_m": 0.0254 * screw.pitch_in,
        "blades": screw.blades, "reference_rev_per_s": 250.0,
    }  # fmt: skip
    return Fitted(
        motor.id,
        "all-knowing",
        (screw.id,),
        draws,
        {name: draws[name][:, :1] * np.linspace(0.2, 3.0, 50) ** power for name, power in HEAT.items()},
        {
            "air": {
                "temperature_c": air.temperature_c,
                "pressure_hpa": air.pressure_hpa,
                "humidity_pct": air.humidity_pct,
            },
            "controller": {"current_limit_a": 65.0},
            "propellers": {screw.id: shape},
        },
        {},
    )


def agree(said: Mapping[str, Any], true: Mapping[str, float], rel: float, k: int = 0) -> None:
    assert true
    for name, value in true.items():
        assert said[name].median[k] == pytest.approx(value, rel=rel), name


@pytest.fixture(scope="module", params=[11, 12])
def case(request: pytest.FixtureRequest) -> tuple[Fitted, Truth, TrueMachine]:
    truth = truth_of(request.param)
    (screw,) = truth.propellers.values()
    return all_knowing(truth), truth, TrueMachine(truth, "motor-1", screw)


def test_settled_states(case: tuple[Fitted, Truth, TrueMachine]) -> None:
    fit, _, machine = case
    throttle = [0.15, 0.4, 0.7, 1.0]
    said = predict(fit, propeller=fit.propellers[0], voltage_v=17.0, throttle=throttle).curves
    for k, x in enumerate(throttle):
        agree(said, steady(machine, x, 17.0), 1e-7, k)


@pytest.mark.parametrize(("low", "high", "volts"), [(0.15, 0.6, 16.0), (0.3, 0.95, 24.0)])
def test_steps(case: tuple[Fitted, Truth, TrueMachine], low: float, high: float, volts: float) -> None:
    fit, _, machine = case
    said = step_answer(
        fit, propeller=fit.propellers[0], voltage_v=volts, from_throttle=low, to_throttle=high
    ).points
    agree(said, step(machine, low, high, volts), 3e-4)


def test_the_bare_shaft(case: tuple[Fitted, Truth, TrueMachine]) -> None:
    fit, truth, _ = case
    agree(torque_curve(fit, voltage_v=18.0).points, shaft(TrueMachine(truth, fit.motor, None), 18.0), 2e-3)


def test_hover_flight_and_heat(case: tuple[Fitted, Truth, TrueMachine]) -> None:
    fit, truth, machine = case
    choice = PackChoice(6, 2200.0, 0.95, 0.005, capacity_sd_mah=0.0)
    held = pack_draws(choice, DRAWS)  # the open-circuit voltage is in doubt whatever is measured
    pack = TruePack(6, 2200.0 * 3.6, 6 * 0.005 + choice.lead_resistance_ohm, float(np.median(held.shift)))
    ask: dict[str, Any] = {"mass_g": 1100.0, "motors": 4, "reserve": 0.25}
    said = hover_answers.hover(
        fit, propeller=fit.propellers[0], pack=choice, winding_limit_c=100.0, **ask
    ).points
    agree(said, hover(machine, pack, charge=0.95, **ask), 1e-4)
    hot = TrueMachine(truth, fit.motor, machine.propeller, heated=True)
    agree(said, heat(hot, 1.1 * 9.80665 / 4.0, 100.0), 2e-4)
