"""`holdout` from the command line: usage, and the same numbers as the function behind it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from motorfit.answers.holdout import holdout
from tests.cli.conftest import Run
from tests.inference.benches import SimulatedBench, bench_in


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    return bench_in(tmp_path_factory.mktemp("bench"), "no-load", "ramp", "table", seed=5)


def test_json_is_the_answer_and_a_table_is_printed(run: Run, bench: SimulatedBench) -> None:
    asked = ("holdout", bench.campaign.path, "--run", "motor-1-table-prop-a", "--draws", "320")
    ran = run(*asked, "--json")
    expected = holdout(bench.campaign, bench.logs, run="motor-1-table-prop-a", draws=320)
    assert ran.code == 0 and json.loads(ran.out) == expected.to_json()
    assert "without motor-1-table-prop-a" in ran.err
    table = run(*asked)
    assert table.code == 0 and "thrust" in table.out and "independent" in table.out


@pytest.mark.parametrize("options", [(), ("--run", "a", "--leave", "run"), ("--leave", "motor")])
def test_usage(run: Run, campaign: Path, options: tuple[str, ...]) -> None:
    assert run("holdout", campaign, *options).code == 2


def test_an_unknown_run_is_named_with_those_there_are(run: Run, campaign: Path) -> None:
    ran = run("holdout", campaign, "--run", "rump")
    assert ran.code == 1 and "allowed: ramp." in ran.err and "Traceback" not in ran.err
