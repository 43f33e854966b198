"""Detectors: a run that holds two starts, and a supply that gives way."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.ndimage import median_filter

from motorfit.bench.bridge import bridged
from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog

__all__ = ["starts_again", "supply_sags"]

_ONE_START = ("no-load", "spin-up", "coast-down", "ramp")
_STILL, _UP = 0.03, 0.5
_SAGGED = 0.75


def starts_again(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A motor that stands still and starts a second time in a run that has one start: two runs in one log."""
    speed = log.channels.get("speed")
    if log.time_s is None or speed is None or log.run.kind not in _ONE_START or len(speed) < 50:
        return
    known = np.flatnonzero(np.isfinite(speed))
    size = np.abs(speed[known])
    if len(known) < 50 or not size.max() > 0.0:
        return
    share = size / max(float(np.percentile(size, 99)), 0.1 * float(size.max()))
    starts: list[int] = []
    stood = 0
    for i, s in enumerate(share.tolist()):
        if s < _STILL:
            stood += 1
        elif s > _UP and (stood >= 5 or not starts):
            starts.append(i)
            stood = 0
        elif s > _UP:
            stood = 0
    if len(starts) < 2:
        return
    again = int(known[starts[1]])
    yield Finding(
        log.run.id,
        "speed",
        "warning",
        "starts-again",
        f"the motor stands still and starts again, {len(starts)} starts in one {log.run.kind}: "
        "two runs in one log?",
        "If so, make two [[runs]] of it with from_s and to_s (or part, or where).",
        **between(log, again, len(speed) - 1),
    )


def supply_sags(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A bus voltage that falls by a quarter or more for a while as the motor draws current."""
    voltage = log.channels.get("voltage")
    if log.time_s is None or voltage is None or log.run.kind == "coast-down":
        return
    if np.isfinite(voltage).sum() < 50:
        return
    smooth = median_filter(bridged(voltage), 5, mode="nearest")
    usual = float(np.percentile(smooth, 90))
    low = smooth < _SAGGED * usual
    current = log.channels.get("current")
    if current is not None and np.isfinite(current).any():
        low &= bridged(current) > 0.05 * float(np.nanmax(current))  # a supply that is off does not sag
    where = np.flatnonzero(low)
    if usual <= 0.0 or len(where) < 3 or len(where) > 0.5 * len(voltage):
        return
    deepest = int(where[np.argmin(smooth[where])])
    yield Finding(
        log.run.id,
        "voltage",
        "note",
        "supply-sags",
        f"the supply sags to {smooth[deepest]:.3g} V, {100 * smooth[deepest] / usual:.0f} % of its usual "
        f"{usual:.3g} V",
        "Nothing to mend: such a run is fitted with its voltage as logged. A stiffer supply tells more.",
        **between(log, int(where[0]), int(where[-1])),
    )
