"""Detectors: columns that stand for each other, and rows that a fit leaves out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between, those
from motorfit.bench.logs import RunLog
from motorfit.bench.reduce import reduce_run
from motorfit.bench.spans import driven_span, mode_of

__all__ = ["not_fitted", "swapped"]

_LOW, _HIGH = 0.2, 0.5


def swapped(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A voltage that grows from nothing while current, or throttle, stands: the columns were exchanged."""
    if log.run.kind in ("coast-down", "spin-up"):
        return
    voltage = log.channels.get("voltage")
    levels = _slow_and_fast(log)
    if voltage is None or levels is None:
        return
    slow, fast = levels
    for channel in ("current", "throttle"):
        values = log.channels.get(channel)
        if values is None:
            continue
        v0, v1, x0, x1 = (_level(a, r) for a in (voltage, values) for r in (slow, fast))
        if not all(np.isfinite(a) for a in (v0, v1, x0, x1)) or v1 <= 0.0 or x1 <= 0.0:
            continue
        if abs(v0) < _LOW * v1 and _HIGH * x1 < x0 < 2.0 * x1 and (channel == "current" or x0 > 0.05):
            yield Finding(
                log.run.id,
                "voltage",
                "error",
                "swapped-columns",
                f"voltage goes from {v0:.3g} V where the motor is slowest to {v1:.3g} V where it is fastest, "
                f"while {channel} stands ({x0:.3g} and {x1:.3g}): their columns are exchanged",
                f"Exchange them in the header, or name both in [runs.columns], voltage and {channel}.",
                **between(log, 0, len(voltage) - 1),
            )


def _slow_and_fast(log: RunLog) -> tuple[NDArray[np.bool_], NDArray[np.bool_]] | None:
    speed = log.channels.get("speed")
    if speed is None or not np.isfinite(speed).any():
        return None
    top = float(np.nanmax(speed))
    if not top > 0.0:
        return None
    with np.errstate(invalid="ignore"):
        slow, fast = speed < 0.25 * top, speed > 0.9 * top
    return (slow, fast) if slow.any() and fast.any() else None


def _level(values: NDArray[np.float64], rows: NDArray[np.bool_]) -> float:
    some = values[rows]
    some = some[np.isfinite(some)]
    return float(np.median(some)) if len(some) else float("nan")


def not_fitted(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Stretches without drive, what lies around a coast-down, rows at rest of a table: not fitted."""
    speed = log.channels.get("speed")
    if speed is None or not np.isfinite(speed).any():
        return
    if log.time_s is None:
        still = np.flatnonzero(~(speed > 0.15 * np.nanmax(speed)))
        for found in reduce_run(log.run, None, log.channels).findings:
            yield replace(found, rows=those(log, still.tolist())["rows"] if len(still) else None)
        return
    mode = mode_of(log.run, log.channels)
    for found in driven_span(log.run, mode, log.time_s, log.channels)[2]:
        if found.start_s is None or found.end_s is None:
            continue
        ends = np.searchsorted(log.time_s, [found.start_s, found.end_s])
        yield replace(found, rows=those(log, ends.tolist())["rows"])
