"""Where a load cell has its zero in each run: by its rests, and beside other runs at the same speeds.

A rest of a third of a second shows a zero to half of the noise.  Two runs of one propeller show how their
zeros differ far better: thrust and torque are one curve of speed, and all their seconds tell of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.bridge import bridged
from motorfit.bench.logs import RunLog
from motorfit.bench.slowcell import best_lag, lagged

__all__ = ["Zeros", "zeros_of"]

Array = NDArray[np.float64]

_MEMORY_S = 0.05
"""Time over which readings of a load cell at rest resemble each other."""

_SETTLED_S = 0.5
"""After standstill, until a cell reads a rest."""

_WAVE_S = 0.2
"""Parts of a long rest whose means show a zero that wanders."""

_BLOCK_S = 0.1
_MOST_BLOCKS = 1000
_SLOWEST_S = 0.02
"""Sampling interval from which the torque of what accelerates cannot be told from a zero."""

_SAME_CURVE = 5e-4
"""Share of the largest reading to which a cell repeats itself from run to run."""

_TAILS = 0.1
"""Share of what the curve leaves of the readings that may be taken for a zero."""

_SWEEPS = ("ramp", "steps", "hold")


@dataclass(frozen=True, slots=True)
class _Rest:
    """A run's readings at rest: mean, variance, how many independent ones they are worth; its samples."""

    level: float
    variance: float
    worth: float
    samples: NDArray[np.int64]


@dataclass(frozen=True)
class Zeros:
    """Zeros of one channel in the runs of a day, (runs,), and what is known of them.

    Attributes
    ----------
    logs : the runs that show something of their zero
    rests : sample numbers of each one's rests; empty where it has none
    top : largest reading of all
    precision, pull : of the joint estimate, (runs, runs) and (runs,): zeros z cost z'Pz - 2 p'z
    """

    logs: tuple[RunLog, ...]
    rests: tuple[NDArray[np.int64], ...]
    top: float
    precision: Array
    pull: Array

    def off(self, run: int, apart: Sequence[int]) -> tuple[float, float, float]:
        """(How far a run's zero is from that which the others share, its standard error, the others' zero).

        ``apart`` are runs that have zeros of their own.
        """
        own = [*apart, run]
        design = np.zeros((len(self.logs), 1 + len(own)))
        design[:, 0] = 1.0
        for k, r in enumerate(own):
            design[r, k + 1] = 1.0  # its distance from the shared one
        cov = np.linalg.pinv(design.T @ self.precision @ design, hermitian=True)
        found = cov @ (design.T @ self.pull)
        return float(found[-1]), float(np.sqrt(max(cov[-1, -1], 0.0))), float(found[0])


def zeros_of(logs: Sequence[RunLog], channel: str) -> Zeros | None:
    """The zeros of a load cell's channel; None where fewer than two runs show theirs."""
    known = [log for log in logs if log.time_s is not None and _readings(log, channel) >= 20]
    rests = {k: rest for k, log in enumerate(known) if (rest := _rest(log, channel)) is not None}
    groups = _groups(known, channel)
    shown = sorted({*rests, *(k for group in groups for k in group)})
    if len(shown) < 2:
        return None
    top = max(float(np.nanpercentile(np.abs(known[k].channels[channel]), 99)) for k in shown)
    place = {k: i for i, k in enumerate(shown)}
    # where nothing ties a run's zero to the others, it is anywhere within the range
    precision = np.diag(np.full(len(shown), 1.0 / max(top, 1e-12) ** 2))
    pull = np.zeros(len(shown))
    errors = _errors(rests)
    for k, rest in rests.items():
        precision[place[k], place[k]] += errors[k] ** -2
        pull[place[k]] += rest.level * errors[k] ** -2
    for group in groups:
        found = _beside_the_curve([known[k] for k in group], channel, _SAME_CURVE * top)
        if found is None:
            continue
        offsets, weight = found
        some = {i: rests[k] for i, k in enumerate(group) if k in rests}
        if not _agree(offsets, weight, {i: (r.level, errors[group[i]]) for i, r in some.items()}):
            continue
        at = np.array([place[k] for k in group])
        precision[np.ix_(at, at)] += weight
        pull[at] += weight @ offsets
    none = np.array([], dtype=np.int64)
    return Zeros(
        tuple(known[k] for k in shown),
        tuple(rests[k].samples if k in rests else none for k in shown),
        top,
        precision,
        pull,
    )


def _readings(log: RunLog, channel: str) -> int:
    """Samples at which the channel and the speed are known."""
    values, speed = log.channels.get(channel), log.channels.get("speed")
    return 0 if values is None or speed is None else int(np.sum(np.isfinite(values) & np.isfinite(speed)))


def _still(log: RunLog) -> NDArray[np.bool_]:
    """Samples, (n,), at which the motor stands and has stood for a while, or has not started yet."""
    speed, time = log.channels["speed"], np.asarray(log.time_s)
    moving = np.abs(speed) > 0.01 * float(np.nanmax(np.abs(speed)))
    for channel, share in (("throttle", 0.0), ("current", 0.1)):
        values = log.channels.get(channel)
        if values is not None and np.isfinite(values).any():
            moving |= values > share * float(np.nanpercentile(np.abs(values), 99))
    last = np.maximum.accumulate(np.where(moving, np.arange(time.size), -1))
    since = np.where(last < 0, np.inf, time - time[np.maximum(last, 0)])
    still: NDArray[np.bool_] = ~moving & (since > _SETTLED_S)
    return still


def _rest(log: RunLog, channel: str) -> _Rest | None:
    values, time = log.channels[channel], np.asarray(log.time_s)
    at = np.flatnonzero(_still(log) & np.isfinite(values))
    dt = max(float(np.median(np.diff(time))), 1e-9)
    if at.size < 3 or at.size * dt < 2.0 * _MEMORY_S:
        return None
    middle = float(np.median(values[at]))
    spread = 1.4826 * float(np.median(np.abs(values[at] - middle)))
    kept = values[at][np.abs(values[at] - middle) <= 6.0 * spread]  # spikes are not noise
    worth = max(kept.size * min(dt / _MEMORY_S, 1.0), 2.0)
    variance = float(np.var(kept)) * worth / (worth - 1.0)
    parts = min(int(kept.size * dt / _WAVE_S), kept.size // 2)
    if parts >= 5:
        means = [float(np.mean(p)) for p in np.array_split(kept, parts)]
        worth = min(worth, variance / max(float(np.var(means, ddof=1)) / parts, 1e-300))
    return _Rest(float(np.mean(kept)), variance, worth, at)


def _errors(rests: dict[int, _Rest]) -> dict[int, float]:
    """Standard errors of the levels at rest; the noise is one cell's, so that all of them show it.

    Where few readings show it, wider by what Student's t is at four and a half standard errors.
    """
    freedom = sum(max(r.worth - 1.0, 0.1) for r in rests.values())
    variance = sum(max(r.worth - 1.0, 0.1) * r.variance for r in rests.values()) / max(freedom, 1e-300)
    wider = 1.0 + 6.0 / max(freedom, 1.0) + 15.0 / max(freedom, 1.0) ** 2
    return {
        k: max(wider * float(np.sqrt(max(variance, r.variance) / r.worth)), 1e-12) for k, r in rests.items()
    }


def _groups(logs: Sequence[RunLog], channel: str) -> list[list[int]]:
    """Runs that turn one propeller by one motor over a range of speeds, where there are two and more."""
    groups: dict[tuple[str, str], list[int]] = {}
    for k, log in enumerate(logs):
        speed, propeller = log.channels["speed"], log.run.propeller
        if propeller is None or log.run.kind not in _SWEEPS or _readings(log, channel) < 40:
            continue
        if channel == "torque" and float(np.median(np.diff(np.asarray(log.time_s)))) > _SLOWEST_S:
            continue
        low, high = np.nanpercentile(speed[~_still(log)], (10, 90)) if not _still(log).all() else (0.0, 0.0)
        if high - low > 0.2 * high > 0.0:
            groups.setdefault((log.run.motor, propeller), []).append(k)
    return [group for group in groups.values() if len(group) > 1]


def _beside_the_curve(logs: Sequence[RunLog], channel: str, doubt: float) -> tuple[Array, Array] | None:
    """Zeros of runs of one propeller but for a constant, (runs,), and their precision, (runs, runs).

    One curve of speed for all, powers to the third; rates of change for what accelerates and what lags; a
    gain of each run, for air and sensors that are not the same; robust to blocks that read something else.
    """
    return best_lag(lambda lag_s: _curve_of_lag(logs, channel, doubt, lag_s))


def _curve_of_lag(
    logs: Sequence[RunLog], channel: str, doubt: float, lag_s: float
) -> tuple[float, tuple[Array, Array] | None]:
    """(Variance left, zeros and precision) for a cell that lags [s]."""
    top = max(float(np.nanmax(log.channels["speed"])) for log in logs)
    rows, readings = [], []
    for k, log in enumerate(logs):
        causes, values = _blocks(log, channel, top, lag_s)
        own = np.zeros((len(values), 2 * len(logs)))
        own[:, k], own[:, len(logs) + k] = 1.0, causes[:, 1]
        rows.append(np.column_stack([own[:, : len(logs)], causes, own[:, len(logs) + 1 :]]))
        readings.append(values)
    design, y = np.vstack(rows), np.concatenate(readings)
    if y.size < 3 * design.shape[1]:
        return np.inf, None
    weight = np.ones(y.size)
    for _ in range(8):
        root = np.sqrt(weight)[:, None]
        found, *_ = np.linalg.lstsq(design * root, y * root[:, 0], rcond=None)
        rest = y - design @ found
        scale = max(1.4826 * float(np.median(np.abs(rest))), 1e-12)
        weight = 1.0 / (1.0 + (rest / (3.0 * scale)) ** 2)
    variance = float(np.sum(weight * rest * rest) / max(np.sum(weight) - design.shape[1], 1.0))
    again = float(np.clip(np.sum(rest[1:] * rest[:-1]) / max(np.sum(rest**2), 1e-300), 0.0, 0.9))
    inverse = np.linalg.pinv((design * weight[:, None]).T @ design, hermitian=True)
    n = len(logs)
    # what the curve does not describe, such as the tail of a slow cell, is no noise and does not average out
    doubt = max(float(np.hypot(doubt, _TAILS * np.std(rest))), 1e-12)
    cov = inverse[:n, :n] * variance * (1.0 + again) / (1.0 - again) + np.eye(n) * doubt**2
    precision = np.linalg.inv(cov)
    shared = precision.sum(axis=1)  # the curve's own constant is not known
    return variance, (found[:n], precision - np.outer(shared, shared) / shared.sum())


def _blocks(log: RunLog, channel: str, top: float, lag_s: float) -> tuple[Array, Array]:
    """Block means of what a turning motor gives a cell that lags [s], (blocks, 5), and of its reading."""
    time = np.asarray(log.time_s)
    count = max(min(round(float(time[-1] - time[0]) / _BLOCK_S), _MOST_BLOCKS, time.size), 1)
    edges = np.unique(np.searchsorted(time, np.linspace(time[0], time[-1], count, endpoint=False)))
    sizes = np.diff(np.append(edges, time.size))
    speed = np.abs(bridged(log.channels["speed"])) / top
    s, square, cube = (lagged(speed**k, time, lag_s) for k in (1, 2, 3))
    ends = np.append(edges, time.size - 1)
    width = min(2, round(0.02 * time.size / max(float(time[-1] - time[0]), 1e-9)))
    near = np.clip(ends[:, None] + np.arange(-width, width + 1), 0, time.size - 1)
    leaps = np.ptp(s[near], axis=1) > 0.02
    lasts = np.maximum(np.diff(time[ends]), 1e-9)
    following = np.append(edges[1:], time.size - 1)

    def mean(x: Array) -> Array:  # by trapezoids from edge to edge
        return np.asarray((np.add.reduceat(x, edges) + 0.5 * (x[following] - x[edges])) / sizes)

    def rate(x: Array) -> Array:
        # what a leap is between lies between its own samples
        return np.asarray(np.diff(np.where(leaps, x[ends], x[near].mean(axis=1))) / lasts)

    causes = np.column_stack([mean(s), mean(square), mean(cube), rate(s), rate(square)])
    known = log.channels[channel]
    turns = np.add.reduceat((np.isfinite(known) & ~_still(log)).astype(float), edges) == sizes
    return causes[turns], mean(bridged(known))[turns]


def _agree(offsets: Array, weight: Array, rests: dict[int, tuple[float, float]]) -> bool:
    """Whether rests tell of the same zeros as the curve: what stops, saturates or drifts bends it."""
    if len(rests) < 2:
        return True
    n = len(offsets)
    precision, pull, cost = weight.copy(), weight @ offsets, float(offsets @ weight @ offsets)
    for i, (level, error) in rests.items():
        precision[i, i] += error**-2
        pull[i] += level * error**-2
        cost += (level / error) ** 2
    left = cost - float(pull @ np.linalg.pinv(precision, hermitian=True) @ pull)
    return left < 10.0 + 4.0 * min(len(rests) - 1, n)
