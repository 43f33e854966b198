"""Whole campaigns: they load, they are repeatable, and their truth is what they were made from."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import read_runs
from motorfit.quantities import PARAMETERS
from motorfit.synthetic.demo import write_demo
from motorfit.synthetic.options import KINDS, BenchOptions, SyntheticError
from motorfit.synthetic.plan import throttle_profile
from motorfit.synthetic.simulate import simulate_campaign
from motorfit.synthetic.truth import load_truth


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_same_seed_same_bytes(tmp_path: Path) -> None:
    options = BenchOptions.rich(sample_rate_hz=100.0)
    simulate_campaign(tmp_path / "a", seed=4, options=options)
    simulate_campaign(tmp_path / "b", seed=4, options=options)
    simulate_campaign(tmp_path / "c", seed=5, options=options)
    assert contents(tmp_path / "a") == contents(tmp_path / "b")
    assert contents(tmp_path / "a") != contents(tmp_path / "c")


@pytest.mark.parametrize("spread", ["usual", "prior"])
def test_every_kind_of_run_reads_without_a_fault(tmp_path: Path, spread: str) -> None:
    options = BenchOptions.rich(runs=KINDS, sample_rate_hz=100.0, propellers=3, spread=spread)
    truth = simulate_campaign(tmp_path, seed=11, options=options)
    campaign = load_campaign(truth.campaign)
    logs = read_runs(campaign)
    assert {log.run.kind for log in logs} == set(KINDS)
    assert {m.id for m in campaign.motors} == set(truth.motors)
    assert {p.id for p in campaign.propellers} == {p.id for p in truth.propellers.values() if p.tested}
    for log in logs:
        assert [f for f in log.findings if f.severity == "error"] == []
        assert ("thrust" in log.channels) == (log.run.propeller is not None)
        assert (log.time_s is None) == (log.run.kind == "table")
        for values in log.channels.values():
            assert np.isfinite(values).all()


def test_truth_speaks_the_posterior_s_names_and_survives_the_file(tmp_path: Path) -> None:
    truth = simulate_campaign(tmp_path, seed=2, options=BenchOptions.rich(sample_rate_hz=50.0))
    names = set(truth.stand)
    for motor in truth.motors.values():
        names |= set(motor.parameters)
    for screw in truth.propellers.values():
        names |= set(screw.parameters)
    assert names <= set(PARAMETERS)
    text = (tmp_path / "truth.json").read_text(encoding="utf-8")
    json.loads(text, parse_constant=pytest.fail)  # no NaN, no Infinity
    assert load_truth(tmp_path / "truth.json") == truth
    assert truth.value("kv", motor="motor-1") == truth.motors["motor-1"].parameters["kv"]
    assert truth.value("thrust_coefficient", propeller="prop-untested") > 0.0
    assert truth.value("gain_thrust") != 1.0
    with pytest.raises(SyntheticError, match="no true value of 'sparkle'"):
        truth.value("sparkle", motor="motor-1")


def test_nominal_bench_has_only_the_nominal_physics(tmp_path: Path) -> None:
    truth = simulate_campaign(tmp_path, seed=3, options=BenchOptions(sample_rate_hz=50.0))
    for motor in truth.motors.values():
        assert "saturation_current" not in motor.parameters
        assert "winding_heat_capacity" not in motor.parameters
        assert motor.parameters["drag_current_windage"] == 0.0
    assert truth.stand["controller_idle_current"] == truth.stand["duty_curvature"] == 0.0
    assert all(p.parameters["torque_reynolds_exponent"] == 0.0 for p in truth.propellers.values())


def test_curves_cover_the_three_kinds_of_untested_condition(tmp_path: Path) -> None:
    truth = simulate_campaign(tmp_path, seed=3, options=BenchOptions(sample_rate_hz=50.0))
    conditions = {(c.motor, c.condition): c for c in truth.curves}
    assert ("motor-2", "propeller-tested-elsewhere") in conditions
    assert conditions["motor-1", "propeller-geometry-only"].propeller == "prop-untested"
    voltage = conditions["motor-1", "voltage"]
    assert voltage.voltage_v == 14.8
    assert list(voltage.values["throttle"]) == [0.2, 0.4, 0.6, 0.8, 1.0]
    thrust = np.asarray(voltage.values["thrust_n"])
    assert np.all(np.diff(thrust) > 0.0)
    shaft = np.asarray(voltage.values["torque_nm"]) * np.asarray(voltage.values["speed_rpm"]) * math.pi / 30.0
    np.testing.assert_allclose(voltage.values["mechanical_power_w"], shaft)


def test_prior_spread_is_wider() -> None:
    from motorfit.synthetic.draw import draw_motor

    def spread(kind: str) -> float:
        options = BenchOptions(spread=kind)  # type: ignore[arg-type]
        rng = np.random.default_rng(0)
        inertias = [
            draw_motor(rng, "m", options, 50.0, 1000.0).parameters["rotor_inertia"] for _ in range(400)
        ]
        return float(np.log(inertias).std())

    assert spread("prior") == pytest.approx(math.log(2.0), rel=0.1)
    assert spread("usual") == pytest.approx(0.25, rel=0.1)


def test_thrust_grows_with_pitch_unless_the_prior_s_table_is_followed() -> None:
    from motorfit.synthetic.draw import draw_propeller

    def middle(kind: str, pitch: float, tested: bool) -> float:
        options = BenchOptions(spread=kind)  # type: ignore[arg-type]
        rng = np.random.default_rng(0)
        drawn = [draw_propeller(rng, "p", 8.0, pitch, 2, tested, options) for _ in range(400)]
        return float(np.median([p.parameters["thrust_coefficient"] for p in drawn]))

    assert middle("usual", 4.0, True) == pytest.approx(0.11, rel=0.03)
    assert middle("usual", 6.0, True) / middle("usual", 4.0, True) == pytest.approx(1.30, rel=0.01)
    assert middle("prior", 6.0, True) == middle("prior", 4.0, True)
    assert middle("prior", 6.0, False) > 1.2 * middle("prior", 6.0, True)


def test_profiles_start_at_rest_and_stay_in_range() -> None:
    for kind in KINDS:
        x = throttle_profile(kind, 200.0, 0.5)
        assert x.min() >= 0.0
        assert x.max() <= 1.0
        if kind != "table":
            assert not x[:100].any()


def test_demo_reads_without_a_fault(tmp_path: Path) -> None:
    path = write_demo(tmp_path / "demo", 7)
    campaign = load_campaign(path)
    logs = read_runs(campaign)
    assert len(campaign.motors) == 3
    assert len(campaign.propellers) == 4
    assert {r.propeller for r in campaign.runs if r.propeller} == {p.id for p in campaign.propellers}
    assert [f for log in logs for f in log.findings if f.severity == "error"] == []
    assert load_truth(tmp_path / "demo" / "truth.json").seed == 7


@pytest.mark.parametrize(
    ("options", "parts"),
    [
        ({"motors": 0}, ("motors is 0", "1 to 6")),
        ({"sample_rate_hz": math.nan}, ("sample_rate_hz is nan", "5.0 to 10000.0")),
        ({"runs": ("hover",)}, ("hover", "no-load, ramp")),
        ({"runs": ()}, ("runs holds nothing",)),
        ({"spread": "odd"}, ("'odd'", "'usual' and 'prior'")),
    ],
)
def test_options_that_make_no_sense(options: dict[str, object], parts: tuple[str, ...]) -> None:
    with pytest.raises(SyntheticError) as caught:
        BenchOptions(**options)  # type: ignore[arg-type]
    for part in parts:
        assert part in str(caught.value)


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(SyntheticError, match="cannot be written"):
        simulate_campaign(tmp_path / "taken", seed=1, options=BenchOptions(sample_rate_hz=50.0))


def test_what_is_not_a_truth(tmp_path: Path) -> None:
    (tmp_path / "truth.json").write_text('{"format": 99}', encoding="utf-8")
    with pytest.raises(SyntheticError, match=r"truth\.json of format 1"):
        load_truth(tmp_path / "truth.json")
    with pytest.raises(SyntheticError, match="is not the truth"):
        load_truth(tmp_path / "absent.json")
