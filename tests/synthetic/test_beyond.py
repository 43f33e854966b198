"""Physics that the fitted model does not have, slow logs, and truths drawn as the model's priors say."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import ks_2samp

from motorfit.bench.campaign import load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.logs import read_runs
from motorfit.inference.draws import parameters_of, prior_positions
from motorfit.inference.graph import build_graph
from motorfit.inference.target import build_target
from motorfit.physics.air import air_density
from motorfit.synthetic import integrate as bench
from motorfit.synthetic.draw import draw_motor, draw_propeller
from motorfit.synthetic.options import BenchOptions, SyntheticError
from motorfit.synthetic.plan import throttle_profile
from motorfit.synthetic.simulate import Scenario, draw_scenario, run_signals, simulate_campaign
from motorfit.synthetic.stand import draw_stand

IDEAL = {"noise": 0.0, "calibrated": True, "motors": 1, "propellers": 1}


def scenario(**changes: object) -> Scenario:
    """The same bench with other options."""
    plain = draw_scenario(np.random.default_rng(3), BenchOptions.rich(**IDEAL))
    return replace(plain, options=BenchOptions.rich(**IDEAL | changes))


def ramp(of: Scenario, kind: str = "ramp", warmth_k: float = 0.0) -> npt.NDArray[np.float64]:
    density = float(air_density(of.air.temperature_c, of.air.pressure_hpa, of.air.humidity_pct))
    run = next(r for r in of.runs if r.kind == kind)
    return run_signals(run, of, density, throttle_profile(kind, 100.0, 0.3), 0.01, warmth_k)


def test_a_supply_that_folds_back_holds_its_current_and_power_still_balances() -> None:
    limit = 20.0
    stiff, weak = ramp(scenario()), ramp(scenario(fold_back_a=limit))
    assert stiff[bench.I_BUS].max() > 1.2 * limit
    assert weak[bench.I_BUS].max() == pytest.approx(limit)
    held = weak[bench.I_BUS] > limit - 1e-6
    assert (weak[bench.V_BUS][held] < stiff[bench.V_BUS].min()).any()
    before = np.flatnonzero(held)[0]
    np.testing.assert_allclose(weak[:, :before], stiff[:, :before])
    of = scenario(fold_back_a=limit)
    stand = of.stand.parameters
    i = weak[bench.I_MOTOR]
    into = weak[bench.V_BUS] * (weak[bench.I_BUS] - stand["controller_idle_current"])
    out = weak[bench.V_MOTOR] * i + stand["controller_resistance"] * i**2
    np.testing.assert_allclose(into[held], out[held], rtol=1e-9)


def test_excess_loss_leaves_the_no_load_current_at_ten_volts_and_bends_it_elsewhere() -> None:
    rng = np.random.default_rng(4)
    motor = draw_motor(rng, "m", BenchOptions(excess_loss=0.4)).parameters
    i10, ke = motor["no_load_current"], 60.0 / (2.0 * math.pi * motor["kv"])
    omega = (10.0 - motor["winding_resistance"] * i10) / ke
    share = bench.excess_current(motor, 0.4)

    def drag(w: float) -> float:
        straight = motor["drag_current_static"] + w * motor["drag_current_slope"]
        return straight + motor["drag_current_windage"] * w**2 + share * math.sqrt(w)

    assert drag(omega) == pytest.approx(i10, rel=1e-12)
    assert drag(0.25 * omega) > 0.25 * drag(omega) + 0.75 * drag(0.0)  # concave


def test_cooler_magnets_and_a_warm_start_are_felt() -> None:
    same, cool, warm = ramp(scenario()), ramp(scenario(magnet_share=0.3)), ramp(scenario(), "ramp", 20.0)
    # cooler magnets: more back-EMF, so less speed at the same throttle
    assert 0.0 < same[bench.SPEED][-1] - cool[bench.SPEED][-1] < 0.05 * same[bench.SPEED][-1]
    assert warm[bench.T_W][0] - same[bench.T_W][0] == pytest.approx(20.0)


def test_crosstalk_is_a_share_of_what_the_other_cell_feels(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    stand = draw_stand(rng, BenchOptions(crosstalk=0.05))
    assert all(0.0 < abs(c) < 0.25 for c in stand.crosstalk)
    assert draw_stand(rng, BenchOptions()).crosstalk == (0.0, 0.0)
    from motorfit.synthetic.sensors import read_channels

    of = scenario(speed_quantum_rpm=0.0)
    signals = ramp(of)
    with_it = replace(of.stand, crosstalk=(0.05, -0.02))
    channels = ("thrust", "torque", "speed")

    def read(s: object) -> dict[str, npt.NDArray[np.float64]]:
        return dict(read_channels(np.random.default_rng(1), signals, 0.01, channels, s, of.options, 3))  # type: ignore[arg-type]

    plain, crossed = read(of.stand), read(with_it)
    np.testing.assert_allclose(crossed["thrust"] - plain["thrust"], 0.05 / 0.02 * signals[bench.Q], atol=1e-9)
    np.testing.assert_allclose(
        crossed["torque"] - plain["torque"], -0.02 * 0.02 * signals[bench.T], atol=1e-9
    )
    np.testing.assert_array_equal(crossed["speed"], plain["speed"])


@pytest.mark.parametrize("rate", [10.0, 25.0])
def test_slow_logs_are_sound(tmp_path: Path, rate: float) -> None:
    truth = simulate_campaign(tmp_path, seed=6, options=BenchOptions.rich(sample_rate_hz=rate))
    campaign = load_campaign(truth.campaign)
    logs = read_runs(campaign)
    for log in logs:
        assert log.time_s is not None
        np.testing.assert_allclose(np.diff(log.time_s), 1.0 / rate, atol=1e-3)
    assert check_campaign(campaign, logs, []).errors == ()


def test_channels_that_the_stand_lacks_are_not_logged(tmp_path: Path) -> None:
    channels = ("voltage", "current", "speed", "thrust")
    truth = simulate_campaign(
        tmp_path, seed=6, options=BenchOptions(sample_rate_hz=50.0, channels=channels, motors=1)
    )
    for log in read_runs(load_campaign(truth.campaign)):
        assert "torque" not in log.channels
    with pytest.raises(SyntheticError, match="smell"):
        BenchOptions(channels=("smell",))


def test_truths_drawn_from_the_prior_follow_the_model_s_table(tmp_path: Path) -> None:
    """Both sides draw by their own code; a wrong number in either shows as another distribution."""
    n = 1500
    options = BenchOptions.rich(spread="prior", motors=1, propellers=1, sample_rate_hz=50.0)
    truth = simulate_campaign(tmp_path, seed=1, options=options)
    campaign = load_campaign(truth.campaign)
    (motor,), (propeller,) = campaign.motors, campaign.propellers
    diameter, pitch = propeller.diameter_in, propeller.pitch_in
    assert diameter is not None and pitch is not None
    from motorfit.bench.reduce import reduce_runs

    runs = reduce_runs(read_runs(campaign)[:1])
    graph = build_graph(campaign, runs)
    z = prior_positions(graph, np.random.default_rng(2), n)
    believed = parameters_of(graph, build_target(graph).values(z), motor.id, (1, n))
    rng = np.random.default_rng(3)
    drawn: dict[str, list[float]] = {}
    for _ in range(n):
        one = dict(draw_motor(rng, "m", options, motor.mass_g, motor.label_kv).parameters)
        screw = draw_propeller(rng, "p", diameter, pitch, propeller.blades, True, options)
        # the campaign file states a mass, drawn with the propeller: take the share of the inertia alone
        own = dict(screw.parameters)
        own["prop_inertia"] *= (propeller.mass_g or math.nan) / screw.mass_g
        for name, value in {**one, **own, **draw_stand(rng, options).parameters}.items():
            drawn.setdefault(name, []).append(value)
    for name in (
        "kv", "kt_kv_ratio", "winding_resistance", "no_load_current", "drag_current_static",
        "drag_current_windage", "rotor_inertia", "saturation_current", "braking_share",
        "winding_heat_capacity", "winding_time_constant", "body_heat_capacity", "body_time_constant",
        "magnet_temperature_coefficient", "thrust_coefficient", "torque_coefficient", "prop_inertia",
        "thrust_reynolds_exponent", "torque_reynolds_exponent", "controller_resistance",
        "controller_idle_current", "duty_slope", "duty_curvature", "duty_cubic", "current_limit",
        "gain_current", "offset_current",
    ):  # fmt: skip
        apart = ks_2samp(np.ravel(believed[name]), np.asarray(drawn[name]))
        assert apart.pvalue > 1e-4, (name, apart)
