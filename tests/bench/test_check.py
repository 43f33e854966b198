from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from motorfit.bench.campaign import Campaign, Run, load_campaign
from motorfit.bench.check import CheckReport, check_campaign
from motorfit.bench.dropouts import speed_excursions
from motorfit.bench.logs import RunLog
from motorfit.units import RPM
from tests.bench.helpers import CAMPAIGN, campaign_with

Channels = dict[str, NDArray[np.float64]]


def ramp(rng: np.random.Generator, poles: float = 1.0) -> tuple[NDArray[np.float64], Channels]:
    """A plausible throttle ramp of a 1000 rpm/V motor on a 7-inch propeller; speed times `poles`."""
    time = np.arange(0, 4, 0.002)
    throttle = np.linspace(0.1, 1.0, len(time))
    speed = 1600.0 * throttle**0.9
    noise = rng.normal(size=(5, len(time)))
    turns = speed / (2 * math.pi)
    thrust = 0.13 * 1.2 * turns**2 * 0.1778**4
    torque = 0.011 * 1.2 * turns**2 * 0.1778**5
    motor_current = torque / 0.0095 + 1.0
    channels = {
        "throttle": throttle,
        "voltage": 22.0 + 0.02 * noise[0],
        "current": throttle * motor_current + 0.1 * noise[1],
        "speed": (speed + 1.0 * noise[2]) * poles,
        "thrust": thrust + 0.02 * noise[3],
        "torque": torque + 0.0005 * noise[4],
    }
    return time, channels


def made(
    folder: Path, *, kind: str = "ramp", more: str = 'propeller = "p7x35x3"', base: str = CAMPAIGN
) -> Campaign:
    return campaign_with(folder, "-", kind=kind, more=more, base=base)


def checked(campaign: Campaign, time: NDArray[np.float64] | None, channels: Channels) -> CheckReport:
    return check_campaign(campaign, [RunLog(campaign.runs[0], time, channels, (), "00")])


def kinds_of(report: CheckReport) -> set[str]:
    return {f.kind for f in report.findings}


def test_a_sound_ramp_has_no_findings(tmp_path: Path, rng: np.random.Generator) -> None:
    report = checked(made(tmp_path), *ramp(rng))
    assert report.findings == () and report.errors == ()
    json.dumps(report.to_json(), allow_nan=False)


def _set(name: str, values: Callable[[NDArray[np.float64]], Any]) -> Callable[[Channels], None]:
    def change(channels: Channels) -> None:
        channels[name] = np.asarray(values(channels[name]))

    return change


def _saturate(v: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.minimum(v, 0.6 * v.max()))


def _stops(v: NDArray[np.float64]) -> NDArray[np.float64]:
    stopped = v.copy()
    stopped[700:1500] = v[700]
    return stopped


@pytest.mark.parametrize(
    ("change", "kind", "severity", "channel"),
    [
        (_set("thrust", lambda v: -v), "sign", "error", "thrust"),
        (_set("torque", lambda v: -v), "sign", "error", "torque"),
        (_set("current", lambda v: -v), "sign", "error", "current"),
        (_set("speed", lambda v: -v), "sign", "error", "speed"),
        (_set("thrust", _saturate), "saturated", "warning", "thrust"),
        (_set("thrust", _stops), "channel-stops", "warning", "thrust"),
        (_set("torque", lambda v: 2 * v), "power-out-above-power-in", "error", None),
        (_set("thrust", lambda v: v / 9.80665), "thrust-coefficient", "error", "thrust"),
        (_set("thrust", lambda v: v * 9.80665), "thrust-coefficient", "error", "thrust"),
        (_set("thrust", lambda v: v * 2.5), "figure-of-merit", "error", None),
        (lambda c: c.pop("speed"), "missing-channel", "error", "speed"),
        (lambda c: c.pop("voltage"), "missing-channel", "note", "voltage"),
        (lambda c: c.pop("throttle"), "missing-channel", "note", "throttle"),
        (lambda c: c.pop("thrust"), "missing-channel", "note", "thrust"),
    ],
)
def test_each_fault_is_found(
    tmp_path: Path,
    rng: np.random.Generator,
    change: Callable[[Channels], Any],
    kind: str,
    severity: str,
    channel: str | None,
) -> None:
    time, channels = ramp(rng)
    change(channels)
    found = {f.kind: f for f in checked(made(tmp_path), time, channels).findings}
    assert kind in found
    assert found[kind].severity == severity and found[kind].channel == channel
    assert found[kind].remedy


def test_a_gap_is_found_where_it_is(tmp_path: Path, rng: np.random.Generator) -> None:
    time, channels = ramp(rng)
    time = np.where(np.arange(len(time)) >= 1000, time + 0.4, time)
    (found,) = checked(made(tmp_path), time, channels).findings
    assert found.kind == "gap"
    assert found.start_s == pytest.approx(1.998) and found.end_s == pytest.approx(2.4)


def test_a_logger_that_slows_down_has_no_gap(tmp_path: Path, rng: np.random.Generator) -> None:
    time, channels = ramp(rng)
    slowing = np.cumsum(np.geomspace(0.1, 0.002, len(time)))
    assert "gap" not in kinds_of(checked(made(tmp_path), slowing, channels))


@pytest.mark.parametrize("factor", [0.0, 0.5, 2.0, 3.0])
@pytest.mark.parametrize("length", [1, 7])
def test_dropouts_and_harmonics_are_found(rng: np.random.Generator, factor: float, length: int) -> None:
    time, channels = ramp(rng)
    speed = channels["speed"].copy()
    assert speed_excursions(time, speed) == []
    speed[1200 : 1200 + length] *= factor
    assert speed_excursions(time, speed) == [(1200, 1200 + length)]


def test_steps_and_starts_are_no_dropouts() -> None:
    time = np.arange(0, 2, 0.002)
    up_and_down = np.where((time % 1.0) < 0.5, 300.0, 1500.0)
    lagged = np.empty_like(time)
    lagged[0] = 0.0
    for i in range(1, len(time)):
        lagged[i] = lagged[i - 1] + (up_and_down[i] - lagged[i - 1]) * 0.1
    assert speed_excursions(time, lagged) == []
    assert speed_excursions(time, np.zeros_like(time)) == []


def _with_pole_factor(
    folder: Path, rng: np.random.Generator, factor: float, torque: bool = True
) -> CheckReport:
    time, channels = ramp(rng, factor)
    if not torque:
        channels.pop("torque")
    speed = np.full(500, 22.0 * 1000 * 0.98 * RPM * factor) + rng.normal(size=500)
    quiet = {"voltage": np.full(500, 22.0) + 0.01 * rng.normal(size=500), "speed": speed}
    quiet["current"] = 1.0 + 0.05 * rng.normal(size=500)
    (folder / "b.csv").write_text("-")
    second = '\n[[runs]]\nid = "b"\nmotor = "heron"\nkind = "no-load"\nfile = "b.csv"\n'
    campaign = made(folder, base=CAMPAIGN + second)
    logs = [
        RunLog(campaign.runs[0], time, channels, (), "00"),
        RunLog(campaign.runs[1], np.arange(500, dtype=np.float64) * 0.002, quiet, (), "11"),
    ]
    return check_campaign(campaign, logs)


@pytest.mark.parametrize("factor", [2.0, 0.5, 14 / 12, 12 / 14])
def test_a_wrong_pole_count_stops_the_fit(tmp_path: Path, rng: np.random.Generator, factor: float) -> None:
    report = _with_pole_factor(tmp_path, rng, factor)
    assert [f.kind for f in report.errors if f.kind == "pole-count"] == ["pole-count"]
    (found,) = [f for f in report.errors if f.kind == "pole-count"]
    remedy = "poles were taken for pole pairs" if factor in (0.5, 2.0) else "6 pole pairs instead of 7"
    assert "the odds are" in found.message
    assert remedy in found.remedy


def test_a_label_off_by_a_pole_ratio_is_only_a_warning(tmp_path: Path, rng: np.random.Generator) -> None:
    report = _with_pole_factor(tmp_path, rng, 14 / 12, torque=False)
    assert {f.kind: f.severity for f in report.findings}["pole-count"] == "warning"
    assert "the label is wrong" in {f.kind: f for f in report.findings}["pole-count"].remedy


@pytest.mark.parametrize("factor", [0.93, 1.0, 1.05])
def test_a_label_off_by_little_is_no_finding(tmp_path: Path, rng: np.random.Generator, factor: float) -> None:
    assert "pole-count" not in kinds_of(_with_pole_factor(tmp_path, rng, factor))


def test_the_same_log_twice(tmp_path: Path, rng: np.random.Generator) -> None:
    campaign = made(tmp_path)
    time, channels = ramp(rng)
    log = RunLog(campaign.runs[0], time, channels, (), "00")
    other = replace(log, run=Run(**(dict(campaign.runs[0]) | {"id": "b"})))
    (found,) = check_campaign(campaign, [log, other]).errors
    assert found.kind == "same-log" and found.run == "b" and "that of a" in found.message


def test_assumptions_are_listed(tmp_path: Path, rng: np.random.Generator) -> None:
    campaign = made(tmp_path, kind="no-load", more="")
    quiet = {"voltage": np.full(200, 10.0), "speed": np.full(200, 900.0), "current": np.full(200, 1.0)}
    text = "\n".join(checked(campaign, np.arange(200, dtype=np.float64) * 0.01, quiet).assumptions)
    for words in (
        "full throttle assumed",
        "resistance_ohm",
        "current limit",
        "calibration doubt",
        "temperature",
    ):
        assert words in text


def test_what_the_runs_teach(tmp_path: Path, rng: np.random.Generator) -> None:
    report = checked(made(tmp_path), *ramp(rng))
    taught = {(t.parameter, t.of): t for t in report.teaches}
    assert taught["kv", "heron"].strength == "well" and taught["kv", "heron"].runs == ("a",)
    assert taught["kt", "heron"].strength == "well"
    assert taught["thrust_coefficient", "p7x35x3"].strength == "well"
    assert taught["no_load_current", "heron"].strength == "not"
    assert "no-load" in taught["no_load_current", "heron"].advice
    assert taught["rotor_inertia", "heron"].strength == "weakly"
    time, channels = ramp(rng)
    for name in ("torque", "voltage", "thrust"):
        channels.pop(name)
    taught = {(t.parameter, t.of): t for t in checked(made(tmp_path), time, channels).teaches}
    assert taught["kv", "heron"].strength == "not"
    assert taught["kt", "heron"].strength == "not"
    assert taught["thrust_coefficient", "p7x35x3"].strength == "not"
    assert taught["torque_coefficient", "p7x35x3"].strength == "weakly"


def test_a_measurement_teaches(tmp_path: Path) -> None:
    measured = CAMPAIGN + (
        '\n[[measurements]]\nmotor = "heron"\n'
        'quantity = "rotor_inertia"\nvalue = 40\nsd = 1\nunit = "g cm^2"\n'
    )
    report = check_campaign(made(tmp_path, base=measured), [])
    (taught,) = [t for t in report.teaches if t.parameter == "rotor_inertia"]
    assert taught.strength == "well" and taught.advice == ""


def test_findings_of_reading_come_first_by_severity(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("time [s],speed [rpm]\n0,1\n# x\n1,2\n")
    (tmp_path / "c.toml").write_text(CAMPAIGN.format(kind="coast-down", file="a.csv", more=""))
    from motorfit.bench.logs import try_read_runs

    campaign = load_campaign(tmp_path / "c.toml")
    logs, findings = try_read_runs(campaign)
    report = check_campaign(campaign, logs, findings)
    assert [f.kind for f in report.findings] == ["comment-lines", "left-out"]
    assert str(report.findings[0]).startswith("a: row 3: comments")
