"""Detectors: a clock in another unit than stated, or one that leaps."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog

__all__ = ["leaps", "time_slip"]

Array = NDArray[np.float64]

_FASTEST_S = 2e-5
"""Interval between samples that no bench logger reaches."""

_LONGEST_DAY_S = 2.0 * 86_400.0
_SLOWEST_START_S = 10.0
"""No motor of this size, with a propeller or bare, takes this long to follow its throttle."""

_FEWEST_ROWS = 5
_MOST_ROWS = 200_000
_MOST_LAG = 200
"""Rows by which speed is looked for behind the throttle."""

_LEAP_S = 6.0 * 3600.0


def time_slip(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Seconds for milliseconds, or the reverse: by the interval, the length, the start of the motor."""
    time = log.time_s
    if time is None or len(time) < 20:
        return
    interval, length = float(np.median(np.diff(time))), float(time[-1])
    said = ""
    if interval < _FASTEST_S:
        said = f"samples lie {interval:.2g} s apart, {1.0 / interval:.3g} a second"
    elif length > _LONGEST_DAY_S and interval * len(time) > 0.5 * length:
        said = f"the run lasts {length / 3600.0:.3g} hours"
    else:
        took = max(_start_s(log), _lag_s(log))
        if took > _SLOWEST_START_S:
            said = f"the motor takes {took:.3g} s to follow its throttle"
    if said:
        usual = "s and ms, or ms and us" if interval >= _FASTEST_S else "ms and s"
        yield Finding(
            log.run.id,
            "time",
            "error",
            "unit-slip",
            f"{said}: time is in another unit than stated",
            f"Check the unit of time in the header or in [runs.columns]: {usual}, taken for each other?",
            **between(log, 0, len(time) - 1),
        )


def _start_s(log: RunLog) -> float:
    """Time in which a bare motor at rest comes to most of its speed [s], 0 where that is not to be seen."""
    speed, time = log.channels.get("speed"), log.time_s
    if time is None or speed is None or log.run.kind != "no-load":
        return 0.0
    known = np.flatnonzero(np.isfinite(speed))
    if known.size == 0:
        return 0.0
    share = speed[known] / max(float(np.max(speed[known])), 1e-9)
    fast = np.flatnonzero(share > 0.6)
    if len(fast) == 0:
        return 0.0
    slow = np.flatnonzero(share[: fast[0]] < 0.05)
    if len(slow) == 0 or fast[0] - slow[-1] < _FEWEST_ROWS:
        return 0.0
    return float(time[known[fast[0]]] - time[known[slow[-1]]])


def _lag_s(log: RunLog) -> float:
    """How far the speed of a motor with a propeller is behind its throttle [s], 0 below some rows.

    Where rows are far apart in truth, speed is not behind by several of them.
    """
    throttle, speed, time = log.channels.get("throttle"), log.channels.get("speed"), log.time_s
    if time is None or throttle is None or speed is None or log.run.propeller is None:
        return 0.0
    good = np.isfinite(throttle) & np.isfinite(speed)
    x, y = throttle[good][:_MOST_ROWS], speed[good][:_MOST_ROWS]
    if len(x) < 10 * _MOST_LAG or np.ptp(x) < 0.1:
        return 0.0
    shifts = np.unique(np.geomspace(1, _MOST_LAG, 40).astype(int)) - 1
    basis, _ = np.linalg.qr(np.column_stack([x**k for k in range(4)])[: len(x) - _MOST_LAG])
    left = []
    for k in shifts.tolist():
        shifted = y[k : k + len(basis)]
        left.append(float(shifted @ shifted) - float(np.sum((basis.T @ shifted) ** 2)))
    best = int(np.argmin(left))
    if shifts[best] < _FEWEST_ROWS or left[0] < 1.1 * left[best]:
        return 0.0
    return float(shifts[best]) * float(np.median(np.diff(time)))


def leaps(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A step of time by hours within a run of seconds: a clock that was set, or two runs in one file."""
    time = log.time_s
    if time is None or len(time) < 20:
        return
    step = np.diff(time)
    at = int(np.argmax(step))
    if step[at] > _LEAP_S and step[at] > 1000.0 * float(np.median(step)):
        yield Finding(
            log.run.id,
            "time",
            "error",
            "clock-leaps",
            f"time leaps by {step[at] / 3600.0:.3g} hours in one run",
            "If two runs were joined, make two [[runs]] of it with from_s and to_s; if the clock was set "
            "while it ran, write its times anew.",
            **between(log, at, at + 1),
        )
