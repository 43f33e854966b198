"""`calibrate` from the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from motorfit.calibration.bench import Job
from motorfit.calibration.records import append
from tests.cli.conftest import Run


def _record(seed: int, u: float) -> dict[str, Any]:
    return {
        "scenario": "one-run", "seed": seed, "sound": True, "path": "fast", "wall_s": 2.0,
        "parameters": {"kv": {"z": 0.1, "u": u, "shrink": 0.1}},
    }  # fmt: skip


def test_records_are_read_and_told(run: Run, tmp_path: Path) -> None:
    for seed in range(4):
        append(tmp_path, _record(seed, 0.99 if seed else 0.5))
    ran = run("calibrate", "--benches", "0", "--out", tmp_path, "--json")
    (told,) = json.loads(ran.out)["scenarios"]
    assert ran.code == 0 and told["scenario"] == "one-run" and told["benches"] == 4
    assert [s["held"] for s in told["parameters"][0]["shares"]] == [1, 1, 1]
    table = run("calibrate", "--benches", "0", "--out", tmp_path)
    assert table.code == 0 and "1 of 4 !" in table.out and "a single ramp" in table.out


def test_benches_are_done_and_a_rerun_does_none(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[int] = []

    def work(job: Job) -> dict[str, Any]:
        made.append(job.seed)
        return _record(job.seed, 0.4)

    monkeypatch.setattr("motorfit.calibration.study.do", work)
    asked = ("calibrate", "--scenario", "one-run", "--benches", "2", "--seed", "8", "--out", tmp_path)
    first = run(*asked)
    assert first.code == 0 and made == [8, 9] and "one-run, 2 of 2" in first.err
    assert run(*asked).code == 0 and made == [8, 9]


@pytest.mark.parametrize("options", [("--benches", "-1"), ("--jobs", "0"), ("--draws", "few"), ("rich",)])
def test_usage(run: Run, options: tuple[str, ...]) -> None:
    assert run("calibrate", *options).code == 2


def test_an_unknown_scenario_is_named_with_those_there_are(run: Run, tmp_path: Path) -> None:
    ran = run("calibrate", "--scenario", "poor", "--out", tmp_path)
    assert ran.code == 1 and "no scenario 'poor'; allowed are nominal, rich" in ran.err
