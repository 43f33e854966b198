"""Damaged logs and campaign files end in an answer or a message, never in a traceback or a silent loss."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign
from tests.fuzz.judge import judge
from tests.fuzz.mutations import mutate_campaign, mutate_log


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small simulated bench, its logs thinned so that a case takes milliseconds."""
    folder = tmp_path_factory.mktemp("fuzz")
    options = BenchOptions(motors=1, propellers=1, runs=("no-load", "ramp", "table"), sample_rate_hz=50.0)
    simulate_campaign(folder, seed=3, options=options)
    return folder


def _in(folder: Path) -> tuple[Path, Callable[[], None]]:
    """The first log of a bench, and what puts everything back."""
    campaign, log = folder / "campaign.toml", folder / "logs" / "motor-1-no-load.csv"
    whole, text = log.read_bytes(), campaign.read_text()

    def back() -> None:
        log.write_bytes(whole)
        campaign.write_text(text)

    return log, back


_SETTINGS = settings(
    max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@_SETTINGS
@given(st.integers(0, 2**32 - 1))
def test_damaged_logs(bench: Path, seed: int) -> None:
    log, back = _in(bench)
    try:
        log.write_bytes(mutate_log(random.Random(seed), log.read_bytes()))
        judge(bench / "campaign.toml")
    finally:
        back()


@_SETTINGS
@given(st.integers(0, 2**32 - 1))
def test_damaged_campaigns(bench: Path, seed: int) -> None:
    _, back = _in(bench)
    campaign = bench / "campaign.toml"
    try:
        damaged = mutate_campaign(random.Random(seed), campaign.read_text())
        campaign.write_text(damaged, encoding="utf-8", errors="replace")
        judge(campaign)
    finally:
        back()


def test_the_judge_finds_a_silent_loss(bench: Path) -> None:
    log, back = _in(bench)
    rows = log.read_bytes().count(b"\n") - 1
    try:
        judge(bench / "campaign.toml", rows)
        log.write_bytes(b"".join(log.read_bytes().splitlines(keepends=True)[:-5]))
        with pytest.raises(AssertionError, match="5 rows vanished"):
            judge(bench / "campaign.toml", rows)
    finally:
        back()
