"""Detectors: channels that are not there, and channels wired the wrong way round."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog

_AT_SPEED = ("ramp", "hold", "steps", "table")
# What a run cannot teach without a channel, by kind of run ("*": all kinds but coast-down).
_WITHOUT: dict[str, dict[str, str]] = {
    "voltage": {"*": "the run is taken at its logged speed, and says nothing of K_v or resistance"},
    "current": {"*": "the run says nothing of resistance, drag or torque constant"},
    "throttle": dict.fromkeys(
        _AT_SPEED, "the run is taken at its logged speed, and says nothing of the controller's duty"
    ),
    "thrust": dict.fromkeys(_AT_SPEED, "the run says nothing of the propeller's thrust"),
}


def missing_channels(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Speed is needed everywhere; whatever else is missing costs something, and the finding says what."""
    run = log.run
    if "speed" not in log.channels:
        yield Finding(
            run.id,
            "speed",
            "error",
            "missing-channel",
            f"no speed; the log has {', '.join(log.channels)}",
            "Name the column in [runs.columns], or take the run out of the campaign.",
        )
    for channel, costs in _WITHOUT.items():
        cost = costs.get(run.kind, costs.get("*") if run.kind != "coast-down" else None)
        if cost is None or channel in log.channels or (channel == "thrust" and run.propeller is None):
            continue
        yield Finding(
            run.id,
            channel,
            "note",
            "missing-channel",
            f"no {channel}: {cost}",
            "Log it, or name its column in [runs.columns] if it is there.",
        )


def signs(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A channel that is negative where the motor works hardest has its sign swapped."""
    speed = log.channels.get("speed")
    if speed is None or not np.isfinite(speed).any():
        return
    size = np.abs(speed)
    fast = size >= 0.8 * np.nanmax(size)
    slow = size <= 0.2 * np.nanmax(size)
    for channel in ("speed", "thrust", "torque", "current", "voltage"):
        values = log.channels.get(channel)
        if values is None or (channel == "torque" and log.run.propeller is None):
            continue
        if channel in ("current", "voltage") and log.run.kind == "coast-down":
            continue
        there = values[fast & np.isfinite(values)]
        rest = values[slow & np.isfinite(values)]
        if len(there) == 0:
            continue
        level = float(np.median(there))
        # A tare error is negative at rest as well; a swapped sign grows with speed.
        idle = abs(float(np.median(rest))) if len(rest) > 0 and channel in ("thrust", "torque") else 0.0
        works = level < 0 and abs(level) > 5.0 * idle and abs(level) > 0.2 * float(np.nanmax(np.abs(values)))
        if works or (channel == "current" and _backward(values, level, rest)):
            yield Finding(
                log.run.id,
                channel,
                "error",
                "sign",
                f"{channel} is {level:.4g} (SI) where the motor is fastest: its sign is swapped",
                f"Add sign = -1 to columns.{channel} of this run.",
                **between(log, 0, len(values) - 1),
            )


def _backward(current: NDArray[np.float64], level: float, rest: NDArray[np.float64]) -> bool:
    """Whether a current says its sign that is small at top speed, as in a spin-up, beside its first rush.

    ``level`` is its median at top speed, ``rest`` what it reads at low speed, by which an offset is told.
    """
    known = current[np.isfinite(current)]
    if level >= 0.0 or len(known) < 20 or float(np.mean(known)) >= 0.0:
        return False
    noise = 1.4826 * float(np.median(np.abs(np.diff(known)))) / np.sqrt(2.0)
    idle = abs(float(np.percentile(rest, 50))) if len(rest) >= 20 and np.ptp(rest) < 20.0 * noise else 0.0
    return bool(abs(level) > max(3.0 * noise, 3.0 * idle))
