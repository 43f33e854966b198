"""From samples to blocks: nothing lost, nothing counted twice, the same whatever the logging rate."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.bench.logs import RunLog
from motorfit.bench.models import Kind
from motorfit.bench.reduce import LONGEST_S, MOST_BLOCKS, BlockedRun, reduce_run, reduce_runs
from tests.bench.series import Array, remembering_noise, run_of

MEMORY_S, SD = 0.03, 4.0


SCALES = {
    "speed": (900.0, SD),
    "current": (10.0, 0.2),
    "voltage": (12.0, 0.02),
    "thrust": (5.0, 0.1),
    "torque": (0.1, 2e-3),
    "motor_current": (15.0, 0.3),
}


def steady(rate_hz: int, duration_s: float = 30.0) -> dict[str, Array]:
    """A steady run: its noise is one process at 10 kHz, of which a slower log keeps one sample in so many."""
    rng = np.random.default_rng(7)
    n, every = round(duration_s * 10000), 10000 // rate_hz
    channels = {
        name: (level + remembering_noise(rng, (n,), 1e-4, sd, MEMORY_S))[::every]
        for name, (level, sd) in SCALES.items()
    }
    return channels | {"throttle": np.full(n // every, 0.6)}


def reduced(channels: dict[str, Array], dt_s: float, kind: Kind = "steps") -> BlockedRun:
    n = next(iter(channels.values())).size
    return reduce_run(run_of(kind), np.arange(n, dtype=np.float64) * np.float64(dt_s), channels)


def stepped(
    rng: np.random.Generator, dt_s: float, duration_s: float, steps_s: list[float]
) -> dict[str, Array]:
    """Throttle steps at given times, noise on every channel."""
    t = np.arange(round(duration_s / dt_s)) * dt_s
    past = np.searchsorted(np.asarray(sorted(steps_s)), t, side="right")
    throttle: Array = np.where(past % 2 == 0, 0.3, 0.5)
    return {
        "throttle": throttle,
        "voltage": 12.0 + 0.01 * rng.standard_normal(t.size),
        "current": 10.0 * throttle + 0.1 * rng.standard_normal(t.size),
        "speed": 1000.0 * throttle + rng.standard_normal(t.size),
    }


def test_block_means_are_worth_the_same_at_any_logging_rate() -> None:
    runs = {rate: reduced(steady(rate), 1.0 / rate) for rate in (100, 1000, 10000)}
    # the doubt of a long mean of a process with memory τ, from its covariance
    x = LONGEST_S / MEMORY_S
    wanted = 2.0 * (x - 1.0 + np.exp(-x)) / x**2
    for rate in (100, 1000):
        variances, covariances = (
            np.array([np.median(kind[rate][n]) / np.median(kind[10000][n]) for n in SCALES])
            for kind in (
                {r: run.variance for r, run in runs.items()},
                {r: run.covariance for r, run in runs.items()},
            )
        )
        # one channel's memory is known to a tenth or so from half a minute; all of them together tell a bias
        np.testing.assert_allclose(variances, 1.0, atol=0.35)
        assert variances.mean() == pytest.approx(1.0, abs=0.15)
        assert covariances.mean() == pytest.approx(1.0, abs=0.25)
    scatter = float(np.var(runs[10000].mean["speed"][-300:]))
    assert scatter == pytest.approx(wanted * SD**2, rel=0.25)
    assert float(np.median(runs[10000].variance["speed"])) == pytest.approx(scatter, rel=0.4)


@given(
    dt_s=st.sampled_from([1e-4, 1e-3, 2e-3, 0.01, 0.05]),
    duration_s=st.floats(2.0, 40.0),
    shares=st.lists(st.floats(0.05, 0.95), max_size=4),
)
def test_blocks_tile_the_run(dt_s: float, duration_s: float, shares: list[float]) -> None:
    duration_s = min(duration_s, 4000 * dt_s)
    steps = [share * duration_s for share in shares]
    channels = stepped(np.random.default_rng(1), dt_s, duration_s, steps)
    run = reduced(channels, dt_s)
    n = channels["speed"].size
    assert run.start_s[0] == 0.0
    np.testing.assert_allclose(run.start_s[1:], (run.start_s + run.length_s)[:-1], atol=1e-9)
    assert run.start_s[-1] + run.length_s[-1] == pytest.approx(n * dt_s)
    # a block without a reading is a part of the block that it stands behind
    read = np.isfinite(run.mean["current"])
    length_s = np.add.reduceat(run.length_s, np.flatnonzero(read))
    np.testing.assert_allclose(run.samples[read], length_s / dt_s, rtol=1e-6)
    assert run.samples[read].sum() == n
    # the blocks' means hold every sample once
    assert np.nansum(run.mean["current"] * run.samples) == pytest.approx(channels["current"].sum())
    # throttle is one number within a block
    assert set(np.round(run.throttle, 6)) <= {0.3, 0.5}


@pytest.mark.parametrize("dt_s", [2e-4, 1e-3, 5e-3, 0.02])
def test_blocks_are_short_after_a_step_and_grow(rng: np.random.Generator, dt_s: float) -> None:
    steps = [2.0, 5.0]
    run = reduced(stepped(rng, dt_s, 8.0, steps), dt_s)
    shortest = min(max(1e-3, dt_s), 5e-3)
    for begin, end in zip([0.0, *steps], [*steps, 8.0], strict=True):
        here = (run.start_s > begin - 0.5 * dt_s) & (run.start_s < end - 0.5 * dt_s)
        length = run.length_s[here]
        assert length[0] == pytest.approx(shortest, abs=0.25 * shortest)
        assert np.all(np.diff(length[:-1]) > -1.01 * dt_s)  # rounding to samples apart, they only grow
        assert length.max() == pytest.approx(LONGEST_S, abs=dt_s)


def test_a_long_run_gets_longer_blocks(rng: np.random.Generator) -> None:
    run = reduced(stepped(rng, 0.02, 120.0, []), 0.02)
    assert run.length_s.max() == pytest.approx(120.0 / MOST_BLOCKS, abs=0.02)
    assert run.size < 1.1 * MOST_BLOCKS


def test_slow_log_keeps_its_samples_and_steps_between_them_after_a_jump(rng: np.random.Generator) -> None:
    channels = stepped(rng, 0.1, 20.0, [10.0])
    run = reduced(channels, 0.1)
    assert np.all(run.samples == 1)
    read = np.isfinite(run.mean["speed"])
    np.testing.assert_allclose(run.start_s[read], 0.1 * np.arange(200), atol=1e-9)
    np.testing.assert_array_equal(run.mean["speed"][read], channels["speed"])
    assert np.array_equal(read, np.isfinite(run.variance["speed"]) & np.isfinite(run.mean["current"]))
    np.testing.assert_allclose(run.start_s[1:], (run.start_s + run.length_s)[:-1], atol=1e-9)
    begins = run.start_s[~read]
    assert np.all((begins % 10.0) < 0.5)
    assert np.count_nonzero(begins > 10.0) >= 6
    assert np.all(run.length_s[np.abs(run.start_s - 10.0) < 1e-6] < 0.005)
    assert np.all(run.throttle[run.start_s > 9.99] == 0.5)


def test_a_slow_sweep_is_quiet_however_rarely_it_is_logged(rng: np.random.Generator) -> None:
    t = np.arange(120) * 0.1
    sweep = np.round(0.1 + 0.012 * np.arange(120) * 0.6, 3)
    channels = {"throttle": sweep, "speed": 1000.0 * sweep + 2.0 * rng.standard_normal(t.size)}
    noise = reduced(channels, 0.1, "ramp").noise["speed"]
    assert noise.measured
    assert np.hypot(noise.sd, noise.white_sd) == pytest.approx(2.0, rel=0.4)


def test_a_fast_sweep_is_cut_where_the_throttle_has_moved() -> None:
    t = np.arange(2000) * 1e-3
    jitter = 0.002 * (-1.0) ** np.arange(t.size)
    throttle = np.where(t < 1.0, 0.3, 0.3 + 0.4 * (t - 1.0)) + jitter
    channels = {"throttle": throttle, "speed": 1000.0 * throttle}
    run = reduced(channels, 1e-3, "ramp")
    held = run.start_s < 0.99
    assert run.length_s[held].max() > 0.06  # a jitter cuts nothing
    assert run.length_s[~held].max() < 0.03


def test_a_restless_run_takes_the_noise_of_its_sensor_from_another(rng: np.random.Generator) -> None:
    restless = stepped(rng, 0.1, 8.0, list(np.arange(0.65, 8.0, 0.65)))
    quiet = stepped(rng, 0.1, 30.0, [])
    alone = reduced(restless, 0.1).noise["speed"]
    assert not alone.measured
    # steps of 200 rad/s every sixth sample only make the rough size larger
    assert np.hypot(alone.sd, alone.white_sd) > 0.5
    logs = [
        RunLog(run_of("steps"), np.arange(c["speed"].size) * np.float64(0.1), c, (), "")
        for c in (restless, quiet)
    ]
    both = reduce_runs(logs)
    assert both[0].noise["speed"] == both[1].noise["speed"]
    assert both[1].noise["speed"].measured
    assert np.nanmax(both[0].variance["speed"]) == pytest.approx(1.0, rel=0.6)


def test_gaps_in_a_channel_cost_that_channel_only(rng: np.random.Generator) -> None:
    channels = stepped(rng, 1e-3, 10.0, [])
    whole = reduced(channels, 1e-3)
    holed = channels["current"].copy()
    holed[5000:6000] = np.nan
    holed[8000::3] = np.nan
    run = reduced(channels | {"current": holed}, 1e-3)
    np.testing.assert_array_equal(run.start_s, whole.start_s)
    np.testing.assert_array_equal(run.mean["speed"], whole.mean["speed"])
    end_s = run.start_s + run.length_s
    lost = (run.start_s > 5.0) & (end_s < 6.0)
    assert lost.any()
    assert np.all(np.isnan(run.mean["current"][lost]))
    thin = run.start_s > 8.1
    assert np.all(np.isfinite(run.mean["current"][thin]))
    # a third of the samples gone: the mean is worth two thirds
    full = (run.start_s > 1.0) & (end_s < 4.9)
    ratio = np.median(run.variance["current"][thin]) / np.median(run.variance["current"][full])
    assert ratio == pytest.approx(1.5, rel=0.05)


def test_a_long_gap_of_the_log_makes_no_block_coarser(rng: np.random.Generator) -> None:
    channels = stepped(rng, 1e-3, 10.0, [])
    t = np.arange(10_000, dtype=np.float64) * 1e-3
    t[5000:] += 3000.0
    run = reduce_run(run_of("steps"), t, channels)
    assert np.sum(run.length_s > 1.1 * LONGEST_S) == 1
    assert run.samples.max() <= 81


def test_channel_without_any_reading_is_absent(rng: np.random.Generator) -> None:
    channels = stepped(rng, 1e-3, 3.0, [])
    run = reduced(channels | {"thrust": np.full(3000, np.nan)}, 1e-3)
    assert "thrust" not in run.mean
    assert "thrust" not in run.noise
    assert "throttle" not in run.mean


@pytest.mark.parametrize("level", [0.0, 600.0])
def test_start_speed_is_rest_exactly_or_a_reading_with_doubt(rng: np.random.Generator, level: float) -> None:
    t = np.arange(4000) * 1e-3
    channels = {
        "voltage": 12.0 + 0.01 * rng.standard_normal(t.size),
        "current": 5.0 + 0.1 * rng.standard_normal(t.size),
        "speed": 1200.0 - (1200.0 - level) * np.exp(-t / 0.1) + 2.0 * rng.standard_normal(t.size),
    }
    channels["speed"][0] = level
    run = reduced(channels, 1e-3, "spin-up")
    assert run.mode == "driven"
    if level == 0.0:
        assert (run.omega_start, run.omega_start_sd) == (0.0, 0.0)
    else:
        assert run.omega_start == pytest.approx(level)
        assert 2.0 < run.omega_start_sd < 15.0


def test_spikes_in_speed_are_left_out_and_said_so(rng: np.random.Generator) -> None:
    channels = stepped(rng, 1e-3, 5.0, [])
    channels["speed"][2500] = 0.0
    run = reduced(channels, 1e-3)
    assert [f.kind for f in run.findings] == ["spikes"]
    assert np.abs(run.mean["speed"] - 300.0).max() < 6.0


def test_coasting_is_reduced_without_its_ends(rng: np.random.Generator) -> None:
    t = np.arange(6000) * 1e-3
    speed = np.where(t < 1.0, 800.0, 800.0 * np.exp(-(t - 1.0) / 0.8)) + 0.5 * rng.standard_normal(t.size)
    run = reduced({"speed": speed, "current": np.where(t < 1.0, 4.0, 0.0)}, 1e-3, "coast-down")
    assert run.mode == "freewheel"
    assert run.start_s[0] == pytest.approx(1.0)
    assert run.omega_start == pytest.approx(800.0, abs=3.0)
    assert [f.kind for f in run.findings] == ["left-out", "left-out"]
    assert np.all(run.on == 0.0)


def test_slope_is_that_of_the_throttle_or_at_given_speeds_of_those(rng: np.random.Generator) -> None:
    swept = stepped(rng, 1e-3, 6.0, [])
    t = np.arange(6000) * 1e-3
    swept["throttle"] = 0.2 + 0.1 * np.clip(t - 2.0, 0.0, 2.0)
    run = reduced(swept, 1e-3, "ramp")
    assert run.mode == "driven"
    inside = (run.start_s > 2.0) & (run.start_s + run.length_s < 4.0) & (run.samples > 10)
    np.testing.assert_allclose(run.slope[inside], 0.1, rtol=0.01)
    assert np.all(run.slope[(run.start_s + run.length_s < 2.0) | (run.start_s > 4.0)] == 0.0)
    speeding = {"speed": np.asarray(500.0 + 20.0 * t), "thrust": 3.0 + 0.05 * rng.standard_normal(t.size)}
    run = reduced(speeding, 1e-3, "hold")
    assert run.mode == "at-speed"
    np.testing.assert_allclose(run.slope[5:-5], 20.0, rtol=1e-6)


def test_table_rows_at_rest_are_left_out_and_said_so() -> None:
    channels = {
        "throttle": np.array([0.0, 0.1, 0.3, 0.6, 1.0]),
        "speed": np.array([0.0, 60.0, 400.0, 700.0, 1000.0]),
        "current": np.array([0.0, 0.4, 3.0, 9.0, 25.0]),
        "voltage": np.array([16.0, 16.0, 15.9, 15.7, 15.2]),
    }
    run = reduce_run(run_of("table"), None, channels)
    assert run.mode == "at-speed"
    assert run.size == 3
    np.testing.assert_array_equal(run.mean["speed"], [400.0, 700.0, 1000.0])
    np.testing.assert_array_equal(run.throttle, [0.3, 0.6, 1.0])
    np.testing.assert_array_equal(run.supply.open_circuit_v, [15.9, 15.7, 15.2])
    assert not run.supply.learned
    (finding,) = run.findings
    assert (finding.kind, finding.severity) == ("rows-at-rest", "note")
    assert finding.message.startswith("2 of 5 rows")


def test_table_whose_rows_all_turn_has_nothing_to_say() -> None:
    run = reduce_run(
        run_of("table"), None, {"speed": np.array([400.0, 700.0]), "thrust": np.array([1.0, 3.0])}
    )
    assert run.findings == ()
    assert run.size == 2
    assert np.all(np.isnan(run.throttle))
    assert np.all(np.isnan(run.supply.open_circuit_v))
