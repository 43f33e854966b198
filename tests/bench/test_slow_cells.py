"""Zeros of load cells that follow slowly: found all the same, and no creep where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import RunLog, read_runs
from motorfit.bench.look_tare import tare_drifted, tare_moved
from motorfit.bench.models import Campaign
from motorfit.bench.slowcell import best_lag, lagged, plausible_lags
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

KINDS = ("no-load", "ramp", "spin-up", "steps", "coast-down")
Bench = tuple[Campaign, tuple[RunLog, ...]]


@pytest.fixture(scope="module", params=[0.02, 0.05, 0.1], ids=lambda lag: f"{1e3 * lag:.0f} ms")
def bench(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = tmp_path_factory.mktemp("bench")
    options = BenchOptions.rich(motors=1, propellers=1, runs=KINDS, tones=0.02, load_cell_lag_s=request.param)
    simulate_campaign(folder, seed=8103, options=options)
    campaign = load_campaign(folder / "campaign.toml")
    return campaign, read_runs(campaign)


def changed(logs: tuple[RunLog, ...], kind: str, channel: str, share: float, creeps: bool) -> list[RunLog]:
    """Logs with another zero in one run: `share` of three deviations at rest, or of the top by creeping."""
    made = []
    for log in logs:
        if log.run.kind == kind:
            assert log.time_s is not None
            values = log.channels[channel]
            rest = values[log.time_s < 0.25]
            more = share * (values.max() * log.time_s / log.time_s[-1] if creeps else 3.0 * rest.std())
            log = replace(log, channels={**log.channels, channel: values + more})
        made.append(log)
    return made


def test_nothing_is_wrong_with_a_slow_cell(bench: Bench) -> None:
    campaign, logs = bench
    assert list(tare_moved(campaign, logs)) == []
    assert [f for log in logs for f in tare_drifted(campaign, log)] == []


@pytest.mark.parametrize("channel", ["thrust", "torque"])
@pytest.mark.parametrize("kind", ["ramp", "steps"])
def test_a_moved_zero_and_a_creep_are_found(bench: Bench, kind: str, channel: str) -> None:
    campaign, logs = bench
    moved = tare_moved(campaign, changed(logs, kind, channel, 1.2, creeps=False))
    assert [(f.run, f.channel) for f in moved] == [(f"motor-1-{kind}-prop-a", channel)]
    crept = changed(logs, kind, channel, 0.07, creeps=True)
    found = [(f.run, f.channel) for log in crept for f in tare_drifted(campaign, log)]
    assert found == [(f"motor-1-{kind}-prop-a", channel)]


def test_a_channel_that_stands_still_has_no_creep(bench: Bench) -> None:
    campaign, logs = bench
    for level in (0.0, 1.5):
        still = [
            replace(log, channels={**log.channels, "thrust": np.full(len(log.channels["speed"]), level)})
            for log in logs
        ]
        assert [f for log in still for f in tare_drifted(campaign, log) if f.channel == "thrust"] == []
        assert [f for f in tare_moved(campaign, still) if f.channel == "thrust"] == []


def test_a_lag_is_that_of_a_first_order_sensor() -> None:
    time = np.arange(0.0, 1.0, 0.002)
    line = lagged(time.copy(), time, 0.05)
    np.testing.assert_allclose(line, time - 0.05 * (1.0 - np.exp(-time / 0.05)), atol=1e-12)
    assert lagged(time, time, 0.0) is time
    np.testing.assert_allclose(lagged(np.full(9, 3.0), time[:9], 0.2), 3.0)


def test_a_lag_has_to_earn_its_place() -> None:
    assert best_lag(lambda lag: (1.0 - 0.5 * lag, lag)) == 0.0  # a tenth less is no reason
    assert best_lag(lambda lag: (1e-3 + (lag - 0.05) ** 2, lag)) == 0.05
    assert plausible_lags(lambda lag: (1.0 + (10.0 * (lag - 0.05)) ** 2, lag)) == [0.035, 0.05]
