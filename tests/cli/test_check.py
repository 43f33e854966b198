from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import CAMPAIGN, Run


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
