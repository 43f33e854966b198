"""Naming a propeller on the command line: by a geometry, by a file, by what is not there."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run

ASK = ("predict", "tern-2807", "--voltage", "22.2", "--throttle", "0.5", "--json")


def _codes(out: str) -> set[str]:
    return {warning["code"] for warning in json.loads(out)["warnings"]}


@pytest.mark.parametrize("command", ["predict", "step"])
def test_a_file_describes_a_propeller(run: Run, library: Path, tmp_path: Path, command: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        "diameter_in = 7\npitch_in = 4.5\nthrust_coefficient = 0.12\nthrust_coefficient_sd = 0.002\n"
        "power_coefficient = 0.06\npower_coefficient_sd = 0.001\nreference_rpm = 9000\n",
        encoding="utf-8",
    )
    ask = ASK if command == "predict" else ("step", *ASK[1:4], "--from", "0.2", "--to", "0.6", "--json")
    ran = run(*ask, "--propeller", path, "--library", library)
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)["propeller"] == "mine"
    assert "stated-propeller" in _codes(ran.out)


def test_a_geometry_says_what_sharpened_it(run: Run, library: Path) -> None:
    ran = run(*ASK, "--propeller", "7x4.5x2", "--library", library)
    assert ran.code == 0
    warnings = {w["code"]: w["message"] for w in json.loads(ran.out)["warnings"]}
    assert "p7x35x3" in warnings["geometry-only-propeller"]


def test_a_bad_file_is_one_message_with_all_faults(run: Run, library: Path, tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text("diameter_in = 700\nwings = 2\n", encoding="utf-8")
    ran = run(*ASK, "--propeller", path, "--library", library)
    assert (ran.code, ran.out) == (1, "")
    assert "diameter_in = 700" in ran.err and "wings" in ran.err
    missing = run(*ASK, "--propeller", tmp_path / "none.toml", "--library", library)
    assert missing.code == 1
    assert "cannot be read" in missing.err


def test_an_unknown_name_lists_what_there_is(run: Run, library: Path) -> None:
    ran = run(*ASK, "--propeller", "p7x35x33", "--library", library)
    assert ran.code == 1
    assert "Did you mean 'p7x35x3'?" in ran.err
