"""Readings that leave and come back are missing; those that the motor makes are kept."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from motorfit.bench.excursions import without_excursions

N = 1000
TIME = np.asarray(np.arange(N) * 0.002, dtype=np.float64)
ROWS = np.arange(2, N + 2)


def channels(throttle: NDArray[np.float64] | None = None) -> dict[str, NDArray[np.float64]]:
    """A motor that holds, with noise."""
    rng = np.random.default_rng(4)
    x = np.full(N, 0.6) if throttle is None else throttle
    return {
        "throttle": x,
        "speed": 1000.0 * x + rng.normal(size=N),
        "voltage": 23.0 - 2.0 * x + 0.01 * rng.normal(size=N),
        "current": 40.0 * x**2 + 0.2 * rng.normal(size=N),
        "thrust": 20.0 * x**2 + 0.1 * rng.normal(size=N),
        "torque": 0.3 * x**2 + 0.002 * rng.normal(size=N),
    }


def test_a_quiet_run_loses_nothing() -> None:
    before = channels()
    after, found = without_excursions("a", TIME, before, ROWS)
    assert found == [] and all(np.array_equal(after[c], before[c]) for c in before)


@pytest.mark.parametrize("channel", ["voltage", "current", "thrust", "torque"])
def test_lone_samples_are_missing_and_named(channel: str) -> None:
    some = channels()
    for at in (100, 500, 501):
        some[channel][at] *= 2.5
    after, (found,) = without_excursions("a", TIME, some, ROWS)
    assert (found.kind, found.run, found.channel, found.rows) == ("spikes", "a", channel, (102, 502, 503))
    assert (found.start_s, found.end_s) == (0.2, 1.002)
    assert np.flatnonzero(np.isnan(after[channel])).tolist() == [100, 500, 501]


@pytest.mark.parametrize("channel", ["voltage", "current", "thrust", "torque"])
def test_zeros_while_the_motor_turns_are_missing(channel: str) -> None:
    some = channels()
    some[channel][300:420] = 0.0
    after, (found,) = without_excursions("a", TIME, some, ROWS)
    assert (found.kind, found.channel) == ("dropout", channel)
    assert np.flatnonzero(np.isnan(after[channel])).tolist() == list(range(300, 420))


def test_a_motor_let_go_reads_no_current_in_truth() -> None:
    some = channels()
    some["current"][300:420] = 0.0
    some["speed"][300:420] *= np.linspace(1.0, 0.6, 120)
    after, _found = without_excursions("a", TIME, some, ROWS)
    assert not np.isnan(after["current"]).any()


def test_a_supply_that_switches_moves_both_at_once() -> None:
    some = channels()
    some["current"][300] *= 0.3
    some["voltage"][300] += 4.0
    after, found = without_excursions("a", TIME, some, ROWS)
    assert found == [] and not np.isnan(after["current"]).any()


def test_a_rush_of_current_at_a_step_is_kept() -> None:
    throttle = np.where(np.arange(N) < 500, 0.3, 0.7)
    some = channels(throttle)
    some["current"][500] = 80.0
    after, found = without_excursions("a", TIME, some, ROWS)
    assert found == [] and after["current"][500] == 80.0


@pytest.mark.parametrize("rows", [4, 25])
def test_held_values_count_where_they_came(rows: int) -> None:
    some = channels(np.linspace(0.2, 0.9, N))
    true = some["thrust"].copy()
    some["thrust"] = np.repeat(true[::rows], rows)[:N]
    after, (found,) = without_excursions("a", TIME, some, ROWS)
    assert (found.kind, found.channel, found.severity) == ("values-held", "thrust", "note")
    np.testing.assert_allclose(after["thrust"][::rows], true[::rows])
    slow = 20.0 * some["throttle"] ** 2
    late = [np.mean((values - slow)[: N - rows]) for values in (some["thrust"], after["thrust"])]
    assert abs(late[1]) < 0.3 * abs(late[0]) + 0.02


def test_coarse_steps_of_a_slow_signal_are_not_held() -> None:
    some = channels(np.linspace(0.2, 0.9, N))
    some["thrust"] = np.round(20.0 * some["throttle"] ** 2, 1)
    after, found = without_excursions("a", TIME, some, ROWS)
    assert found == [] and np.array_equal(after["thrust"], some["thrust"])
