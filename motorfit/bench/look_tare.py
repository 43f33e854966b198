"""Detectors: load cells whose zero is not where it was."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.bridge import bridged
from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog

__all__ = ["tare_drifted", "tare_moved"]

Array = NDArray[np.float64]

_CELLS = ("thrust", "torque")
_BLOCK_S = 0.1
_MOST_BLOCKS = 2000
_SURE = 6.0
"""Standard errors from which a shift of zero is clear."""

_MATTERS = 0.02
"""Share of the channel's largest reading below which a shift of zero is not worth a word."""

_MOVED_SURE, _MOVED_MATTERS = 4.5, 0.003
"""The same for a zero that another run has not, which a rest shows alone, whatever the propeller does."""

_MEMORY_S = 0.05


def tare_drifted(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A zero that creeps through a run: readings at one speed differ between its begin and its end."""
    if log.time_s is None or log.run.propeller is None or log.run.kind == "coast-down":
        return
    speed = log.channels.get("speed")
    if speed is None or np.isfinite(speed).sum() < 100 or log.time_s[-1] < 20 * _BLOCK_S:
        return
    blocks = min(round(log.time_s[-1] / _BLOCK_S), _MOST_BLOCKS)
    edges = np.unique(np.searchsorted(log.time_s, np.linspace(0.0, log.time_s[-1], blocks, endpoint=False)))
    causes = _causes(bridged(speed), log.time_s, edges)
    if causes is None:
        return
    for channel in _CELLS:
        values = log.channels.get(channel)
        if values is None or np.isfinite(values).sum() < 100:
            continue
        drift, error = _drift(_means(bridged(values), edges), causes)
        top = float(np.nanpercentile(np.abs(values), 99))
        if abs(drift) > _SURE * error and abs(drift) > _MATTERS * top:
            unit = {"thrust": "N", "torque": "N m"}[channel]
            yield Finding(
                log.run.id,
                channel,
                "warning",
                "tare-drifted",
                f"the zero of {channel} creeps by {drift:+.3g} ± {error:.1g} {unit} over the run, "
                f"{100 * abs(drift) / top:.1f} % of its largest reading",
                "The fit allows each channel a slow error and widens its intervals; let the load cell warm "
                "up, and log a rest before and after each run.",
                **between(log, 0, len(values) - 1),
            )


def _means(values: Array, edges: NDArray[np.int64]) -> Array:
    counts = np.diff(np.append(edges, len(values)))
    return np.asarray(np.add.reduceat(values, edges) / counts)


def _causes(speed: Array, time: Array, edges: NDArray[np.int64]) -> Array | None:
    """Block means of what a load cell's reading may be made of, (blocks, 7).

    Powers of speed, its rate of change (exact, from the speeds at a block's ends) and that of its square,
    which is what a cell that lags reads on top, and last a creep from -1/2 to 1/2; None where speed hardly
    varies.
    """
    top = float(np.max(speed))
    if top <= 0.0 or len(edges) < 20 or np.ptp(speed) < 0.2 * top:
        return None
    s = speed / top
    ends = np.append(edges, len(s) - 1)
    width = min(
        2, round(0.02 * len(s) / max(float(time[-1] - time[0]), 1e-9))
    )  # a slow log has none to spare
    near = np.clip(ends[:, None] + np.arange(-width, width + 1), 0, len(s) - 1)
    at_ends = s[near].mean(axis=1)
    lasts = np.maximum(np.diff(time[ends]), 1e-9)
    rate, rate_of_square = np.diff(at_ends) / lasts, np.diff(at_ends**2) / lasts
    creep = (time - time[0]) / (time[-1] - time[0]) - 0.5
    powers = [_means(s**k, edges) for k in range(4)]
    return np.column_stack([*powers, rate, rate_of_square, _means(creep, edges)])


def _drift(values: Array, causes: Array) -> tuple[float, float]:
    """Creep over the run and its standard error, robust to a few blocks in which the reading lags."""
    weight = np.ones(values.size)
    plain, *_ = np.linalg.lstsq(causes, values, rcond=None)
    for _ in range(5):
        root = np.sqrt(weight)[:, None]
        found, *_ = np.linalg.lstsq(causes * root, values * root[:, 0], rcond=None)
        rest = values - causes @ found
        scale = max(1.4826 * float(np.median(np.abs(rest))), 1e-12)
        weight = 1.0 / (1.0 + (rest / (3.0 * scale)) ** 2)
    variance = float(np.sum(weight * rest * rest) / max(np.sum(weight) - causes.shape[1], 1.0))
    again = float(np.clip(np.sum(rest[1:] * rest[:-1]) / max(np.sum(rest**2), 1e-300), 0.0, 0.9))
    inverse = np.linalg.pinv((causes * weight[:, None]).T @ causes)
    # a creep that only the reweighted fit sees is made of the blocks that it left out
    creep = float(found[-1]) if found[-1] * plain[-1] > 0.3 * found[-1] ** 2 else 0.0
    return creep, float(np.sqrt(variance * inverse[-1, -1] * (1.0 + again) / (1.0 - again)))


@dataclass(frozen=True, slots=True)
class _Rest:
    """A channel at rest before a run's start: level, its standard error, samples; its largest reading."""

    log: RunLog
    level: float
    error: float
    samples: int
    top: float


def tare_moved(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """A zero that differs between runs of one day: the level at rest, before the motor starts, is another."""
    for channel in _CELLS:
        rests = [r for log in logs if (r := _rest(log, channel)) is not None]
        if len(rests) < 2:
            continue
        levels = np.array([r.level for r in rests])
        for rest in rests:
            # with two runs, the one that is farther from zero is taken for the moved one
            others = np.delete(levels, rests.index(rest))
            usual = float(np.median(others))
            if len(rests) == 2 and abs(rest.level) < abs(usual):
                continue
            error = max(np.hypot(rest.error, float(np.median([r.error for r in rests]))), 1e-12)
            off = rest.level - usual
            largest = max(r.top for r in rests)
            if abs(off) > _MOVED_SURE * error and abs(off) > _MOVED_MATTERS * largest:
                unit = {"thrust": "N", "torque": "N m"}[channel]
                yield Finding(
                    rest.log.run.id,
                    channel,
                    "warning",
                    "tare-moved",
                    f"{channel} stands at {rest.level:.3g} {unit} before the motor starts, "
                    f"and at {usual:.3g} {unit} in the other runs",
                    "All runs of a day share one zero: tare again and repeat the run, or leave the channel "
                    "out of this run.",
                    **between(rest.log, 0, rest.samples - 1),
                )


def _rest(log: RunLog, channel: str) -> _Rest | None:
    values, speed = log.channels.get(channel), log.channels.get("speed")
    if log.time_s is None or values is None or speed is None or np.isfinite(speed).sum() < 20:
        return None
    moving = np.abs(speed) > 0.01 * float(np.nanmax(np.abs(speed)))
    throttle = log.channels.get("throttle")
    if throttle is not None:
        moving |= throttle > 0.0
    first = int(np.flatnonzero(moving)[0]) if moving.any() else 0
    still = values[:first]
    still = still[np.isfinite(still)]
    if len(still) < 10:
        return None
    memory = max(_MEMORY_S / max(float(np.median(np.diff(log.time_s))), 1e-9), 1.0)
    error = float(np.std(still, ddof=1)) / np.sqrt(max(len(still) / memory, 1.0))
    top = float(np.nanpercentile(np.abs(values), 99))
    return _Rest(log, float(np.median(still)), float(error), first, top)
