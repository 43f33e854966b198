"""A load cell whose zero differs between runs: found from rests and from like speeds, at three deviations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from motorfit.bench.campaign import Campaign, load_campaign
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog, read_runs
from motorfit.bench.look_tare import tare_drifted, tare_moved
from motorfit.bench.zeros import zeros_of
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

NOISE = {"thrust": 0.0412, "torque": 0.00104}
"""Standard deviations of the simulated cells at rest [N, N m]."""

Bench = tuple[Campaign, tuple[RunLog, ...]]


@pytest.fixture(scope="module", params=[41, 42, 43])
def bench(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = tmp_path_factory.mktemp("zeros")
    options = BenchOptions.rich(motors=1, propellers=1, runs=("no-load", "ramp", "spin-up", "steps"))
    simulate_campaign(folder, seed=request.param, options=options)
    campaign = load_campaign(folder / "campaign.toml")
    return campaign, read_runs(campaign)


def moved(logs: Sequence[RunLog], kind: str, channel: str, by: float) -> tuple[RunLog, ...]:
    """The logs with a channel of one kind of run off by something."""
    return tuple(
        replace(log, channels={**log.channels, channel: log.channels[channel] + by})
        if log.run.kind == kind
        else log
        for log in logs
    )


def found(bench: Bench, logs: Sequence[RunLog]) -> list[Finding]:
    return list(tare_moved(bench[0], logs))


@pytest.mark.parametrize("channel", ["thrust", "torque"])
@pytest.mark.parametrize(("kind", "sign"), [("ramp", 1.0), ("steps", -1.0)])
def test_three_deviations_are_found_and_measured(bench: Bench, channel: str, kind: str, sign: float) -> None:
    by = 3.0 * sign * NOISE[channel]
    (finding,) = found(bench, moved(bench[1], kind, channel, by))
    assert (finding.kind, finding.channel) == ("tare-moved", channel)
    zeros = zeros_of(moved(bench[1], kind, channel, by), channel)
    assert zeros is not None
    run = next(k for k, log in enumerate(zeros.logs) if log.run.kind == kind)
    off, error, _ = zeros.off(run, [])
    assert off == pytest.approx(by, abs=4.0 * error)
    assert error < 0.25 * abs(by)


def test_one_zero_raises_no_alarm(bench: Bench) -> None:
    assert found(bench, bench[1]) == []


def test_the_run_that_moved_is_named_among_several(bench: Bench) -> None:
    (finding,) = found(bench, moved(bench[1], "spin-up", "torque", 8.0 * NOISE["torque"]))
    assert finding.run == next(log.run.id for log in bench[1] if log.run.kind == "spin-up")
    assert finding.start_s == 0.0
    assert finding.end_s is not None
    assert finding.end_s < 0.5


def test_two_that_moved_are_both_named(bench: Bench) -> None:
    once = moved(bench[1], "spin-up", "torque", 10.0 * NOISE["torque"])
    twice = moved(once, "ramp", "torque", -10.0 * NOISE["torque"])
    names = {f.run for f in found(bench, twice)}
    assert names == {log.run.id for log in bench[1] if log.run.kind in ("spin-up", "ramp")}


def test_another_air_is_no_other_zero(bench: Bench) -> None:
    """Denser air scales the readings of a run; its zero stays."""
    logs = tuple(
        replace(log, channels={k: v * (1.03 if k == "thrust" else 1.0) for k, v in log.channels.items()})
        if log.run.kind == "steps"
        else log
        for log in bench[1]
    )
    assert found(bench, logs) == []


def test_a_curve_bent_by_a_stopped_cell_does_not_outvote_the_rests(bench: Bench) -> None:
    (log,) = [log for log in bench[1] if log.run.kind == "steps"]
    stuck = log.channels["thrust"].copy()
    half = len(stuck) // 2
    stuck[half:] = stuck[half]
    logs = tuple(replace(x, channels={**x.channels, "thrust": stuck}) if x is log else x for x in bench[1])
    assert found(bench, logs) == []


def test_a_log_of_long_steps_in_time_is_looked_at_without_a_warning(bench: Bench) -> None:
    logs = [replace(log, time_s=np.asarray(log.time_s) * 1000.0) for log in bench[1]]
    assert zeros_of(logs, "torque") is not None


def test_the_declared_doubt_says_what_matters(bench: Bench) -> None:
    """A zero off by two thousandths of the range is no matter where the declared doubt is far wider."""
    campaign, logs = bench
    doubt = campaign.bench.channels["thrust"].model_copy(update={"offset_sd": 1.0})
    loose = campaign.bench.model_copy(update={"channels": {**campaign.bench.channels, "thrust": doubt}})
    by = 0.002 * max(float(np.nanmax(log.channels["thrust"])) for log in logs if "thrust" in log.channels)
    changed = moved(logs, "steps", "thrust", by)
    assert list(tare_moved(campaign.model_copy(update={"bench": loose}), changed)) == []


def every(log: RunLog, stride: int) -> RunLog:
    """The log as a slower logger writes it."""
    assert log.time_s is not None and log.rows is not None
    slow = {name: values[::stride] for name, values in log.channels.items()}
    return replace(log, time_s=log.time_s[::stride], channels=slow, rows=log.rows[::stride])


def half_slow(log: RunLog) -> RunLog:
    """The log of a logger that goes ten times as fast from the middle on."""
    assert log.time_s is not None and log.rows is not None
    half = len(log.time_s) // 2
    at = np.concatenate([np.arange(0, half, 10), np.arange(half, len(log.time_s))])
    some = {name: values[at] for name, values in log.channels.items()}
    return replace(log, time_s=log.time_s[at], channels=some, rows=log.rows[at])


@pytest.mark.parametrize("stride", [1, 3, 10, 20, 50])
def test_no_zero_creeps_in_a_slow_log(bench: Bench, stride: int) -> None:
    """What accelerates the shaft is no creep, however few samples a start has."""
    logs = [every(log, stride) for log in bench[1]]
    assert [f for log in logs for f in tare_drifted(bench[0], log)] == []
    assert found(bench, logs) == []


def test_no_zero_creeps_where_the_rate_changes(bench: Bench) -> None:
    assert [f for log in bench[1] for f in tare_drifted(bench[0], half_slow(log))] == []


@pytest.mark.parametrize("stride", [1, 5, 10])
@pytest.mark.parametrize("channel", ["thrust", "torque"])
def test_a_creep_is_found_at_every_rate(bench: Bench, channel: str, stride: int) -> None:
    for log in bench[1]:
        if log.run.kind not in ("ramp", "steps"):
            continue
        slow = every(log, stride)
        assert slow.time_s is not None
        values = slow.channels[channel]
        creep = 0.07 * float(np.nanmax(values)) * slow.time_s / slow.time_s[-1]
        crept = replace(slow, channels={**slow.channels, channel: values + creep})
        assert [f.channel for f in tare_drifted(bench[0], crept)] == [channel]
