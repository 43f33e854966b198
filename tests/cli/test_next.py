"""`next` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.inference.benches import SimulatedBench, bench_in


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    return bench_in(tmp_path_factory.mktemp("bench"), "no-load", "ramp", seed=8)


def test_json_and_table(run: Run, bench: SimulatedBench) -> None:
    asked = ("next", bench.campaign.path, "--for", "thrust_coefficient")
    ran = run(*asked, "--json")
    assert ran.code == 0 and "fault" not in ran.err
    document = json.loads(ran.out)
    assert document["quantity"] == "thrust_coefficient"
    assert document["motor"] == "motor-1" and len(document["candidates"]) > 5
    table = run(*asked)
    assert table.code == 0 and "width, of now" in table.out and document["sentence"][:20] in table.out
    assert "spins propellers" in table.out


def test_an_unknown_quantity_is_told_before_the_fit(run: Run, campaign: Path) -> None:
    ran = run("next", campaign, "--for", "thrust")
    assert ran.code == 1 and "thrust_coefficient[p7x35x3]" in ran.err and "drawing" not in ran.err


def test_usage(run: Run, campaign: Path) -> None:
    assert run("next", campaign).code == 2
