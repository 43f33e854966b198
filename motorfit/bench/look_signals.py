"""Detectors: gaps, spikes, saturation, values that stand still."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between, those
from motorfit.bench.logs import RunLog
from motorfit.bench.spikes import without_spikes

_GAP = 10.0
_FEWEST = 50
_GLANCE = 10_000
_PLATEAU, _SHORT_PLATEAU = 12, 4


def gaps(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Steps of time ten times longer than those on both sides; a logger that slows down evenly has none."""
    if log.time_s is None or len(log.time_s) < 8:
        return
    step = np.diff(log.time_s)
    around = np.array([np.roll(step, k) for k in (-3, -2, -1, 1, 2, 3)])
    long = np.flatnonzero((step > _GAP * np.median(around, axis=0)) & (step > 3.0 * np.median(step)))
    if len(long) == 0:
        return
    worst = int(long[np.argmax(step[long])])
    yield Finding(
        log.run.id,
        None,
        "warning",
        "gap",
        f"{len(long)} gap{'s' if len(long) > 1 else ''} in time, the longest of {step[worst]:.4g} s",
        "Nothing is filled in; check that the logger kept up.",
        **between(log, worst, worst + 1),
    )


def spikes(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Single samples of speed that jump out of line."""
    speed = log.channels.get("speed")
    if log.time_s is not None and speed is not None:
        for found in without_spikes(log.run, "speed", log.time_s, speed)[1]:
            at = [i - 1 for i in found.rows or ()]  # positions in the run, from 1
            yield replace(found, rows=those(log, at)["rows"] if at else None)


def saturation(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A channel that stays at one extreme value for long, though its values are otherwise finely spread."""
    if log.time_s is None:
        return
    for channel, values in _noisy(log):
        known = values[np.isfinite(values)]
        for extreme, word in ((known.max(), "highest"), (known.min(), "lowest")):
            if extreme == 0.0 or (word == "lowest" and channel in ("speed", "voltage")):
                continue
            length = _longest(values == extreme)[1]
            total = int(np.count_nonzero(values == extreme))
            if length < _SHORT_PLATEAU or total < _PLATEAU:
                continue  # one long plateau, or the tops of a noisy signal, cut off again and again
            beside = known[known < extreme].max() if word == "highest" else known[known > extreme].min()
            if max(length, total) > 10 * np.count_nonzero(values == beside):
                yield Finding(
                    log.run.id,
                    channel,
                    "warning",
                    "saturated",
                    f"{channel} stays at its {word} value, {extreme:.6g} (SI), in {total} samples, "
                    f"{length} of them in a row: "
                    "the sensor is at its end",
                    "Take a sensor or range that reaches further; the true value was beyond.",
                    **between(log, *_ends(values == extreme)),
                )


def channels_stop(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A channel that stands still for long while speed moves, though it moves elsewhere."""
    speed = log.channels.get("speed")
    if log.time_s is None or speed is None:
        return
    for channel, values in _noisy(log):
        if log.run.kind == "coast-down" and channel != "speed":
            continue  # the motor is off, or unplugged
        same = np.concatenate([[False], np.diff(values) == 0])
        first, length = _longest(same)
        level = values[first]
        if length < _FEWEST or level in (0.0, np.nanmin(values), np.nanmax(values)):
            continue
        rest = np.count_nonzero(same) - length
        others = speed if channel != "speed" else log.channels.get("current", speed)
        moved = np.unique(others[first : first + length]).size > length / 4
        if moved and length > 10 * max(1.0, rest / max(1, len(values) - length) * _FEWEST):
            yield Finding(
                log.run.id,
                channel,
                "warning",
                "channel-stops",
                f"{channel} stands at {level:.6g} (SI) for {length} samples while the motor goes on",
                "Check the sensor's cable; take the column out of [runs.columns] if it cannot be trusted.",
                **between(log, first, first + length - 1),
            )


def repeated_logs(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """Two runs of one motor that read the same rows of the same bytes, under two names as well."""
    seen: dict[tuple[str, str], list[RunLog]] = {}
    for log in logs:
        earlier = seen.setdefault((log.run.motor, log.sha256), [])
        same = next((g for g in earlier if _share_rows(g, log)), None)
        if same is not None:
            yield Finding(
                log.run.id,
                None,
                "error",
                "same-log",
                f"its log is the same as that of {same.run.id}",
                "Name each run's own log; one read twice would count double.",
            )
        earlier.append(log)


def _share_rows(one: RunLog, other: RunLog) -> bool:
    if one.rows is None or other.rows is None:
        return True
    return bool(np.intersect1d(one.rows, other.rows).size)


def _noisy(log: RunLog) -> Iterator[tuple[str, NDArray[np.float64]]]:
    """Channels with enough samples and enough different values to tell standing still from coarse steps."""
    for channel, values in log.channels.items():
        if channel == "throttle" or len(values) < 2 * _FEWEST:
            continue
        known = values[np.isfinite(values)]
        # a long log shows it by its first rows as a rule; sorting all of it is slow
        if any(np.unique(known[:most]).size > 20 for most in (_GLANCE, None)):
            yield channel, values


def _ends(flag: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last position of True."""
    where = np.flatnonzero(flag)
    return int(where[0]), int(where[-1])


def _longest(flag: NDArray[np.bool_]) -> tuple[int, int]:
    """First position and length of the longest stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flag, [False]]).astype(np.int8)))
    if len(edges) == 0:
        return 0, 0
    lengths = edges[1::2] - edges[::2]
    longest = int(np.argmax(lengths))
    return int(edges[2 * longest]), int(lengths[longest])
