from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Run

CAMPAIGN = """
format = 1
title = "One ramp"
[air]
temperature_c = 20
pressure_hpa = 1013
humidity_pct = 40
[bench]
name = "stand"
[[motors]]
id = "tern-2807"
mass_g = 48.2
pole_pairs = 7
label_kv = 1300
[[propellers]]
id = "p7x35x3"
diameter_in = 7
pitch_in = 3.5
blades = 3
[[runs]]
id = "ramp"
motor = "tern-2807"
kind = "ramp"
file = "ramp.csv"
propeller = "p7x35x3"
"""


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    rng = np.random.default_rng(5)
    time = np.arange(0.0, 4.0, 0.01)
    throttle = np.clip(0.1 + time / 4.0, 0.0, 1.0)
    speed = 18000.0 * throttle + rng.normal(0.0, 5.0, time.size)
    current = 30.0 * throttle**3 + 0.5 + rng.normal(0.0, 0.05, time.size)
    thrust = 14.0 * throttle**2 + rng.normal(0.0, 0.05, time.size)
    voltage = 22.2 - 0.01 * current + rng.normal(0.0, 0.01, time.size)
    table = np.column_stack([time, throttle, voltage, current, speed, thrust])
    header = "time [s],throttle,voltage [V],current [A],speed [rpm],thrust [N]"
    np.savetxt(tmp_path / "ramp.csv", table, delimiter=",", header=header, comments="", fmt="%.6f")
    path = tmp_path / "campaign.toml"
    path.write_text(CAMPAIGN)
    return path


def test_a_sound_campaign_is_listed_with_what_it_assumes_and_teaches(run: Run, campaign: Path) -> None:
    ran = run("check", campaign, "--json")
    document = json.loads(ran.out)
    assert (ran.code, document["ok"], document["faults"]) == (0, True, [])
    assert any("temperature" in assumption for assumption in document["assumptions"])
    assert {"kv", "thrust_coefficient"} <= {lesson["parameter"] for lesson in document["teaches"]}
    shown = run("check", campaign)
    assert shown.code == 0
    assert "Assumed:" in shown.out and "thrust_coefficient" in shown.out


def test_faults_of_the_file_are_listed_for_machines_too(run: Run, campaign: Path) -> None:
    campaign.write_text(CAMPAIGN.replace('kind = "ramp"', 'kind = "rmap"').replace("blades = 3", "blade = 3"))
    ran = run("check", campaign, "--json")
    document = json.loads(ran.out)
    assert (ran.code, document["ok"]) == (1, False)
    assert len(document["faults"]) >= 2
    assert all(fault["path"] and fault["allowed"] and fault["remedy"] for fault in document["faults"])
    assert "rmap" in ran.err


@pytest.mark.parametrize("command", ["check", "fit"])
def test_a_log_that_cannot_be_read_stops_with_one(
    run: Run, campaign: Path, tmp_path: Path, command: str
) -> None:
    (campaign.parent / "ramp.csv").write_text("time [s],speed [rpm]\n0.0,\n0.1,\n")
    arguments = ("--library", tmp_path / "library") if command == "fit" else ()
    ran = run(command, campaign, *arguments)
    assert ran.code == 1
    assert "ramp" in ran.out + ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "library").exists()
