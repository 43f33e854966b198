"""A limit of the controller that shows in a start, and is stated or not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.findings import Finding
from motorfit.bench.logs import read_runs
from motorfit.bench.look_limit import unstated_limit
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("bench")
    simulate_campaign(
        made, seed=3305, options=BenchOptions(motors=1, propellers=1, runs=("no-load", "spin-up"))
    )
    return made


def _found(file: Path) -> list[Finding]:
    campaign = load_campaign(file)
    return [f for log in read_runs(campaign) for f in unstated_limit(campaign, log)]


def test_a_limit_that_is_stated_is_not_told(folder: Path) -> None:
    assert _found(folder / "campaign.toml") == []


def test_a_limit_that_is_not_stated_is_told_with_its_size(folder: Path) -> None:
    text = (folder / "campaign.toml").read_text()
    other = folder / "without.toml"
    other.write_text(re.sub(r"current_limit_a.*\n", "", text))
    (found,) = _found(other)
    assert (found.kind, found.severity, found.run) == ("unstated-limit", "warning", "motor-1-spin-up")
    size = re.search(r"about (\d+) A", found.message)
    assert size is not None and 40 <= int(size[1]) <= 55
