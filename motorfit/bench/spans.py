"""Which part of a run is used, and how it is to be read."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from motorfit.bench.findings import Finding
from motorfit.bench.models import Run

__all__ = ["AT_SPEED", "DRIVEN", "FREEWHEEL", "driven_span", "mode_of"]

Array = npt.NDArray[np.float64]

_NEIGHBOURS = 15

DRIVEN, FREEWHEEL, AT_SPEED = "driven", "freewheel", "at-speed"


def mode_of(run: Run, channels: Mapping[str, Array]) -> str:
    """How a run is modelled: from throttle and supply, coasting, or at its logged speed."""
    if run.kind == "coast-down":
        return FREEWHEEL
    has_supply = "voltage" in channels and bool(np.isfinite(channels["voltage"]).any())
    full = run.kind in ("no-load", "spin-up")
    has_throttle = full or "throttle" in channels
    return DRIVEN if has_supply and has_throttle else AT_SPEED


def driven_span(
    run: Run, mode: str, time_s: Array, channels: Mapping[str, Array]
) -> tuple[slice, Array, tuple[Finding, ...]]:
    """The stretch of a run that the model describes.

    Returns
    -------
    (slice of samples, (n,) 1 where the controller drives and 0 where it does not, findings for what is left
    out)
    """
    n = time_s.size
    on = np.ones(n)
    if mode == FREEWHEEL:
        span = _coast(time_s, channels)
        findings = _left_out(run, time_s, span, "before the coasting begins or after it has ended")
        return span, np.zeros(n), findings
    if "throttle" in channels or "current" not in channels:
        return slice(0, n), on, ()
    current = channels["current"]
    missing = ~np.isfinite(current)
    threshold = 0.01 * float(np.nanpercentile(np.abs(current), 99.5)) if not missing.all() else 0.0
    known = np.where(missing, 0.0, current)
    driving = missing | (known > threshold)
    span = _longest(driving)
    span = _settled(driving[span] & ~(_let_go(known[span]) & ~missing[span]), span)
    if span == slice(0, n):
        return span, on, ()
    findings = _left_out(run, time_s, span, "with the supply switching or the controller off")
    return span, on, findings


def _let_go(current: Array) -> npt.NDArray[np.bool_]:
    """Samples in which the current falls well below that of its neighbours: part of them without drive.

    Below the running median by a seventh and by eight of its median deviations; where current is small
    against its largest, noise would look the same.
    """
    if current.size < _NEIGHBOURS:
        return np.zeros(current.size, dtype=bool)
    middle = median_filter(current, _NEIGHBOURS, mode="nearest")
    spread = median_filter(np.abs(current - middle), 4 * _NEIGHBOURS + 1, mode="nearest")
    below = middle - current
    fell: npt.NDArray[np.bool_] = (
        (middle > 0.1 * float(np.max(current))) & (below > middle / 7.0) & (below > 8.0 * spread)
    )
    return fell


def _settled(driving: npt.NDArray[np.bool_], span: slice) -> slice:
    """A stretch without the dropouts near its ends: a controller that catches a motor lets go now and
    then."""
    size = span.stop - span.start
    away = np.flatnonzero(~driving)
    early, late = away[away < size // 10], away[away > size - size // 10]
    start = span.start + (int(early[-1]) + 1 if early.size else 0)
    stop = span.start + (int(late[0]) if late.size else size)
    return slice(start, stop)


def _longest(flags: npt.NDArray[np.bool_]) -> slice:
    """Longest stretch of True; single False samples inside a stretch do not end it."""
    filled = flags.copy()
    filled[1:-1] |= flags[:-2] & flags[2:]
    bounds = np.flatnonzero(np.diff(np.concatenate(([False], filled, [False])).astype(np.int8)))
    if bounds.size == 0:
        return slice(0, flags.size)
    starts, ends = bounds[::2], bounds[1::2]
    best = int(np.argmax(ends - starts))
    return slice(int(starts[best]), int(ends[best]))


def _coast(time_s: Array, channels: Mapping[str, Array]) -> slice:
    """From the last sample with current, or the fastest one, to near standstill."""
    speed = channels["speed"]
    finite = np.where(np.isfinite(speed), speed, 0.0)
    top = float(np.percentile(finite, 99.9))
    begin = int(np.flatnonzero(finite >= 0.995 * top)[0])
    current = channels.get("current")
    if current is not None:
        magnitude = np.abs(np.where(np.isfinite(current), current, 0.0))
        peak = float(magnitude.max())
        busy = np.flatnonzero(magnitude > 0.02 * peak) if peak > 0.2 else np.array([], dtype=np.int64)
        if busy.size and busy[-1] < time_s.size // 2:
            begin = max(begin, int(busy[-1]) + 1)
    turning = np.flatnonzero(finite > 0.03 * top)
    return slice(begin, int(turning[-1]) + 1)


def _left_out(run: Run, time_s: Array, span: slice, why: str) -> tuple[Finding, ...]:
    found = []
    for a, b in ((0, span.start), (span.stop, time_s.size)):
        if b > a:
            found.append(
                Finding(
                    run.id, None, "note", "left-out",
                    f"{b - a} samples {why} are not fitted",
                    "Cut the log, or log the throttle, if they should count.",
                    float(time_s[a]), float(time_s[b - 1]),
                )
            )  # fmt: skip
    return tuple(found)
