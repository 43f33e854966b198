"""Detectors: load cells whose zero is not where it was."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.bridge import bridged
from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog
from motorfit.bench.slowcell import lagged, plausible_lags
from motorfit.bench.zeros import Zeros, zeros_of

__all__ = ["tare_drifted", "tare_moved"]

Array = NDArray[np.float64]

_CELLS = ("thrust", "torque")
_BLOCK_S = 0.1
_MOST_BLOCKS = 2000
_SURE = 6.0
"""Standard errors from which a shift of zero is clear."""

_MATTERS = 0.02
"""Share of the channel's largest reading below which a shift of zero is not worth a word."""

_LEAP = 0.05
"""Change of speed, as a share of the top, from block to block that is a leap."""

_FEW_SAMPLES = 4
"""Samples of a block that follow a leap."""

_SLOWEST_S = 0.03
"""Sampling interval from which the torque of what accelerates cannot be told from a creep."""

_MANY_LEAPS = 0.2
"""Share of blocks with leaps from which they make up for each other."""

_MOVED_SURE, _MOVED_MATTERS = 4.5, 0.003
"""The same for a zero that another run has not, which a rest shows alone, whatever the propeller does."""

_DECLARED = 2.0
"""Declared doubts of the zero beyond which another one matters, where that is less."""


def tare_drifted(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A zero that creeps through a run: readings at one speed differ between its begin and its end."""
    if log.time_s is None or log.run.propeller is None or log.run.kind == "coast-down":
        return
    speed = log.channels.get("speed")
    if speed is None or np.isfinite(speed).sum() < 100 or log.time_s[-1] < 20 * _BLOCK_S:
        return
    blocks = min(round(log.time_s[-1] / _BLOCK_S), _MOST_BLOCKS)
    edges = np.unique(np.searchsorted(log.time_s, np.linspace(0.0, log.time_s[-1], blocks, endpoint=False)))
    whole, time, counts = bridged(speed), log.time_s, np.diff(np.append(edges, len(speed)))
    if float(np.max(whole)) <= 0.0 or len(edges) < 20 or np.ptp(whole) < 0.2 * float(np.max(whole)):
        return
    causes = functools.lru_cache(functools.partial(_causes, whole, time, edges))
    seen = _followed(causes(0.0), counts)
    if seen.sum() < 20:
        return
    for channel in _CELLS:
        values = log.channels.get(channel)
        if values is None or np.isfinite(values).sum() < 100:
            continue
        if channel == "torque" and float(np.median(np.diff(log.time_s))) > _SLOWEST_S:
            continue
        means = _means(bridged(values), edges)[seen]
        fits = plausible_lags(functools.partial(_drift_at, means, causes, seen))
        drift, error = min(fits, key=lambda fit: abs(fit[0]) / fit[1])  # no creep if one can do without
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
    """Means over blocks from edge to edge, by trapezoids: the first sample of the next counts half."""
    counts = np.diff(np.append(edges, len(values)))
    ends = values[np.append(edges[1:], len(values) - 1)]
    return np.asarray((np.add.reduceat(values, edges) + 0.5 * (ends - values[edges])) / counts)


def _causes(speed: Array, time: Array, edges: NDArray[np.int64], lag_s: float) -> Array:
    """Block means of what the reading of a load cell with a lag [s] may be made of, (blocks, 7).

    Powers of speed, its rate of change (exact, from the speeds at a block's ends) and that of its square,
    which is what a cell reads on top that lags otherwise, and last a creep from -1/2 to 1/2.
    """
    top = float(np.max(speed))
    s, square, cube = (lagged((speed / top) ** k, time, lag_s) for k in (1, 2, 3))
    ends = np.append(edges, len(s) - 1)
    width = min(
        2, round(0.02 * len(s) / max(float(time[-1] - time[0]), 1e-9))
    )  # a slow log has none to spare
    near = np.clip(ends[:, None] + np.arange(-width, width + 1), 0, len(s) - 1)
    leaps = np.ptp(s[near], axis=1) > 0.02
    lasts = np.maximum(np.diff(time[ends]), 1e-9)

    def rate(x: Array) -> Array:
        # what a leap is between lies between its own samples
        return np.asarray(np.diff(np.where(leaps, x[ends], x[near].mean(axis=1))) / lasts)

    creep = (time - time[0]) / (time[-1] - time[0]) - 0.5
    powers = [_means(p, edges) for p in (np.ones_like(s), s, square, cube)]
    return np.column_stack([*powers, rate(s), rate(square), _means(creep, edges)])


def _drift_at(
    means: Array, causes: Callable[[float], Array], seen: NDArray[np.bool_], lag_s: float
) -> tuple[float, tuple[float, float]]:
    creep, error, variance = _drift(means, causes(lag_s)[seen])
    return variance, (creep, error)


def _followed(causes: Array, counts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Blocks (blocks,) but those in which speed leaps, and their neighbours, where few samples follow it.

    What such a block reads for its rate of change is a matter of where its samples fall; one or two outweigh
    all the others, while those of many steps make up for each other.
    """
    before = np.abs(np.diff(causes[:, 1], prepend=causes[0, 1])) > _LEAP
    leap = (before | np.append(before[1:], False)) & (counts < _FEW_SAMPLES)
    if leap.mean() > _MANY_LEAPS:
        return np.ones(len(leap), dtype=bool)
    near = leap.copy()
    near[1:] |= leap[:-1]
    near[:-1] |= leap[1:]
    followed: NDArray[np.bool_] = ~near
    return followed


def _drift(values: Array, causes: Array) -> tuple[float, float, float]:
    """Creep over the run, its standard error, and the variance left; robust to a few odd blocks."""
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
    error = float(np.sqrt(variance * inverse[-1, -1] * (1.0 + again) / (1.0 - again)))
    return creep, max(error, 1e-12), variance  # a channel that stands still leaves nothing


def tare_moved(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """A zero that differs between runs of one day, by their rests and by their readings at like speeds."""
    for channel in _CELLS:
        zeros = zeros_of(logs, channel)
        if zeros is None:
            continue
        declared = campaign.bench.channels.get(channel)
        matters = _MOVED_MATTERS * zeros.top
        if declared is not None and declared.offset_sd is not None:
            matters = min(matters, _DECLARED * declared.offset_sd)
        apart: list[int] = []
        while len(apart) < len(zeros.logs) - 1:
            worst = _most_moved(zeros, apart, matters)
            if worst is None:
                break
            apart.append(worst)
        yield from (_moved(zeros, channel, run, apart) for run in apart)


def _most_moved(zeros: Zeros, apart: Sequence[int], matters: float) -> int | None:
    """The run whose zero is most clearly another than the one shared; None where there is no such."""
    best: tuple[float, float, int] | None = None
    for run in range(len(zeros.logs)):
        if run in apart:
            continue
        off, error, usual = zeros.off(run, apart)
        rested = zeros.rests[run].size > 0
        # a curve alone, with no rest that bears it out, is believed less
        least, sure = (matters, _MOVED_SURE) if rested else (_MATTERS * zeros.top, _SURE)
        if abs(off) > least and abs(off) > sure * error:
            # of two runs, the one that is farther from zero is taken for the moved one
            rank = (round(abs(off) / error, 6), abs(usual + off), run)
            best = rank if best is None else max(best, rank)
    return None if best is None else best[2]


def _moved(zeros: Zeros, channel: str, run: int, apart: Sequence[int]) -> Finding:
    off, error, usual = zeros.off(run, [r for r in apart if r != run])
    log, rest = zeros.logs[run], zeros.rests[run]
    unit = {"thrust": "N", "torque": "N m"}[channel]
    place = between(log, 0, len(log.channels[channel]) - 1)
    if rest.size:
        breaks = np.flatnonzero(np.diff(rest) > 1)
        place = between(log, int(rest[0]), int(rest[breaks[0]] if breaks.size else rest[-1]))
    return Finding(
        log.run.id,
        channel,
        "warning",
        "tare-moved",
        f"the zero of {channel} lies {off:+.3g} ± {error:.1g} {unit} beside that of the other runs, "
        f"which is {usual:.3g} {unit}",
        "All runs of a day share one zero: tare again and repeat the run, or leave the channel out of this "
        "run.",
        **place,
    )
