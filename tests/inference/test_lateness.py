"""Channels that arrive late or follow slowly: in the compiled model, and found in logs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import lfilter

from motorfit.bench.logs import RunLog
from motorfit.compiled import kernel as compiled
from motorfit.inference.fit import optimise
from motorfit.inference.late_channels import delayed, jumped, lagged
from motorfit.lanes import LANES, spread
from tests.inference.benches import SimulatedBench

Array = npt.NDArray[np.float64]

STEP_S = 1e-5


def _blocks() -> tuple[Array, Array, Array]:
    """A signal in fine steps that jumps and relaxes, its blocks' means, and their lengths [s]."""
    h = np.concatenate([np.full(6, 0.05), 0.002 * 1.3 ** np.arange(12), np.full(12, 0.05)])
    t = (np.arange(round(h.sum() / STEP_S)) + 0.5) * STEP_S
    signal = np.where(t < 0.3, 1.0 + 0.2 * t, 5.0 + 4.0 * np.exp(-(t - 0.3) / 0.08))
    return signal, _means(signal, h), h


def _means(signal: Array, h: Array) -> Array:
    edges = np.round(np.concatenate([[0.0], np.cumsum(h)]) / STEP_S).astype(int)
    return np.array([signal[a:b].mean() for a, b in pairwise(edges)])


def _shifted(signal: Array, seconds: float) -> Array:
    n = round(seconds / STEP_S)
    return np.concatenate([np.full(n, signal[0]), signal[: signal.size - n]])


def _filtered(signal: Array, seconds: float) -> Array:
    keep = np.exp(-STEP_S / seconds)
    out, _ = lfilter([1.0 - keep], [1.0, -keep], signal, zi=[keep * signal[0]])
    return np.asarray(out)


@compiled
def _jump(pred: Array, h: Array, samples: Array, share: float, channel: int) -> None:
    jumped(pred, h, samples, spread(share), channel)


@compiled
def _follow(pred: Array, h: Array, seconds: float, channel: int) -> None:
    lagged(pred, h, spread(seconds), channel)


def _delayed(pred: Array, h: Array, seconds: float) -> None:
    for j in range(LANES):
        delayed(pred, h, seconds, 0, j, np.empty((h.size + 1, LANES)))


def _lagged(pred: Array, h: Array, seconds: float) -> None:
    _follow(pred, h, seconds, 0)


@pytest.mark.parametrize("seconds", [0.004, 0.03, 0.11])
@pytest.mark.parametrize(("kernel", "exact"), [(_delayed, _shifted), (_lagged, _filtered)])
def test_block_means_of_a_late_channel(
    seconds: float, kernel: Callable[..., None], exact: Callable[[Array, float], Array]
) -> None:
    signal, mean, h = _blocks()
    pred = np.repeat(mean[:, None, None], LANES, axis=2)
    kernel(pred, h, seconds)
    wanted = _means(exact(signal, seconds), h)
    for got in pred[:, 0].T:
        np.testing.assert_allclose(got, wanted, atol=0.02 * np.ptp(signal))
        assert np.abs(got - wanted).mean() < 0.002 * np.ptp(signal)


def test_nothing_moves_before_a_jump() -> None:
    """What comes after a step must not leak into the blocks before it."""
    _, mean, h = _blocks()
    for kernel in (_delayed, _lagged):
        pred = np.repeat(mean[:, None, None], LANES, axis=2)
        kernel(pred, h, 0.01)
        assert np.abs(pred[:6, 0] - mean[:6, None]).max() < 0.01


def _with(bench: SimulatedBench, channel: str, change: Callable[[Array], Array]) -> SimulatedBench:
    def changed(log: RunLog) -> RunLog:
        channels = dict(log.channels)
        if channel in channels:
            channels[channel] = change(channels[channel])
        return replace(log, channels=channels)

    return SimulatedBench(bench.truth, bench.campaign, tuple(changed(log) for log in bench.logs))


def _found(bench: SimulatedBench) -> dict[str, float]:
    target, optimum = optimise(bench.campaign, bench.blocked)
    names = [n for n in target.graph.index if n.startswith(("delay_", "lag_"))]
    return {n: float(target.values(optimum.z[None, :])[n][0]) for n in names}


@pytest.mark.parametrize("channel", ["thrust", "torque", "current"])
def test_a_late_channel_is_found(single: SimulatedBench, channel: str) -> None:
    """30 ms at 200 Hz are six samples; the logs are otherwise untouched."""
    found = _found(_with(single, channel, lambda x: np.concatenate([np.full(6, x[0]), x[:-6]])))
    assert found[f"delay_{channel}"] == pytest.approx(0.030, abs=0.003)
    assert not [name for name in found if name.startswith("delay_") and name != f"delay_{channel}"]


def test_a_slow_load_cell_is_found(single: SimulatedBench) -> None:
    keep = np.exp(-0.005 / 0.06)
    change: Callable[[Array], Array] = lambda x: np.asarray(  # noqa: E731
        lfilter([1.0 - keep], [1.0, -keep], x, zi=[keep * x[0]])[0]
    )
    found = _found(_with(_with(single, "thrust", change), "torque", change))
    assert found["lag_thrust"] == pytest.approx(0.06, rel=0.15)
    assert found["lag_torque"] == pytest.approx(0.06, rel=0.15)


def test_channels_on_time_are_left_alone(single: SimulatedBench) -> None:
    assert _found(single) == {}


def test_a_jump_shows_later_and_the_rest_does_not() -> None:
    dt = 0.002
    samples = np.array([25.0, 25.0, 1.0, 1.0, 2.0, 25.0])
    # samples 0, 1, 2 ... of a signal that jumps with the third block; a third of an interval later
    levels = np.array([1.0, 1.0, 9.0, 8.0, 7.0, 5.0])
    pred = np.repeat(levels[:, None, None], LANES, axis=2)
    _jump(pred, samples * dt, samples, 1.0 / 3.0, 0)
    np.testing.assert_allclose(pred[:, 0, 0], [1.0, 1.0, 9.0 - 8.0 / 3.0, 8.0, 7.0, 5.0])
