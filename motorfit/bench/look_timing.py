"""Detectors: channels that are late against each other, and rows that are not evenly spaced in time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.alignment import voltage_lateness
from motorfit.bench.bridge import bridged
from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog
from motorfit.bench.spans import DRIVEN, mode_of

__all__ = ["late_channels", "uneven_sampling"]

Array = NDArray[np.float64]

_LATEST_S = 0.6
_FINE_S = 0.13
"""Shifts up to this are all tried; beyond, one in five, and then those around the best."""

_STEP_S = 0.002
_NOTICED_S = 0.008
_TOO_LATE_S = {"speed": 0.15, "current": 0.15, "thrust": 0.3, "torque": 0.3}
"""Lateness beyond which no fit makes up for it; a slow load cell's lag shows as most of itself."""

_MEMORY_S = 0.05
"""Samples nearer than this are not counted as independent."""

_UNREAD_S = 0.1
"""Stretches without readings from which a line across them is no reading."""

_CLEAR = 12.0
"""Gain in log-likelihood from which a shift is clear, far beyond chance over the shifts tried."""

_BETTER = 1.15
"""How many times less has to be left of the channel when it is shifted."""

_JUMP, _FEWEST_JUMPS = 0.03, 3
"""Of the throttle, within a sample of the even grid."""

_MOST_ROWS = 3_000_000

_UNEVEN = 0.3


@dataclass(frozen=True, slots=True)
class _Late:
    """A channel that is late by so much in a run [s], and by how much the shift is the likelier one."""

    log: RunLog
    channel: str
    late_s: float
    gain: float


def late_channels(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """Channels late against the others, measured at steps: one finding each, in the run that shows it best.

    Thrust and torque follow the speed at once, bus current the throttle and the speed, voltage the current:
    the shift that leaves least of a channel beside those is how late it is. One that would come before its
    cause says that the cause itself is late.
    """
    found: dict[str, list[_Late]] = {}
    for log in logs:
        for late in _of_run(log):
            found.setdefault(late.channel, []).append(late)
    for channel, those in found.items():
        best = max(those, key=lambda late: late.gain)
        more = len(those) - 1
        also = f", and in {more} more run{'s' if more > 1 else ''}" if more else ""
        too_late = best.late_s > _TOO_LATE_S.get(channel, np.inf)
        remedy = (
            "The fit looks for a delay or a lag of each channel and takes it into account; log all channels "
            "with one clock and without filters if you can."
        )
        if channel == "voltage":
            remedy = "The fit moves it to where the current puts it; log both with one clock if you can."
        if too_late:
            remedy = (
                f"No fit makes up for that much: move the column of {channel} in the log by "
                f"{best.late_s:.3g} s, or name another."
            )
        yield Finding(
            best.log.run.id,
            channel,
            "error" if too_late else "warning",
            "late-channel",
            f"{channel} is {1e3 * best.late_s:.0f} ms late against what it goes with{also}",
            remedy,
            **between(best.log, 0, len(best.log.channels[channel]) - 1),
        )


def _of_run(log: RunLog) -> Iterator[_Late]:
    speed, time = log.channels.get("speed"), log.time_s
    if time is None or speed is None or len(time) < 200 or np.isfinite(speed).sum() < 100:
        return
    interval = float(np.median(np.diff(time)))
    if not 0.0 < interval < 0.02 or (time[-1] - time[0]) / interval > _MOST_ROWS:
        return  # too slow to tell, or mostly gaps
    even = np.arange(time[0], time[-1], max(interval, _STEP_S))
    if even.size < 200:
        return
    on = {n: np.interp(even, time, bridged(v)) for n, v in log.channels.items() if np.isfinite(v).sum() > 100}
    step = float(even[1] - even[0])
    if log.run.propeller is not None and log.run.kind != "coast-down":
        causes = _of_speed(on["speed"], step)
        there = _read(even, time, speed)
        cells = {
            c: _lateness(on[c], causes, step, there & _read(even, time, log.channels[c]))
            for c in ("thrust", "torque")
            if c in on
        }
        for channel, (late, gain) in cells.items():
            if late > 0.0:
                yield _Late(log, channel, late, gain)
            # a cell before the speed says that the speed is late, which the other cell then says as well
            elif late < 0.0 and all(other < 0.5 * late for other, _ in cells.values()):
                yield _Late(log, "speed", -late, gain)
    if mode_of(log.run, log.channels) != DRIVEN or "current" not in on or "voltage" not in on:
        return
    # a slow sweep tells nothing: a motor that warms up on the way looks like a shift
    if "throttle" in on and np.count_nonzero(np.abs(np.diff(on["throttle"])) > _JUMP) >= _FEWEST_JUMPS:
        x, v = on["throttle"], on["voltage"]
        causes = np.column_stack(
            [np.ones_like(x), x, x * x * v, x**3 * v, x * on["speed"], x * x * on["speed"]]
        )
        late, gain = _lateness(on["current"], causes, step)
        if late > 0.0:
            yield _Late(log, "current", late, gain)
    late = voltage_lateness(time, log.channels["voltage"], log.channels["current"])
    if abs(late) >= _NOTICED_S:
        yield _Late(log, "voltage" if late > 0.0 else "current", abs(late), _CLEAR)


def _of_speed(speed: Array, step: float) -> Array:
    """What a thrust or a reaction torque may be made of, (n, 5): powers of speed, and its rate of change."""
    top = max(float(np.max(np.abs(speed))), 1e-9)
    s = speed / top
    width = max(round(0.01 / step), 1)
    kernel = np.ones(2 * width + 1) / (2 * width + 1)
    smooth = np.convolve(np.pad(s, width, mode="edge"), kernel, mode="valid")
    return np.column_stack([np.ones_like(s), s, s * s, s**3, np.gradient(smooth, step)])


def _read(even: Array, time: Array, values: Array) -> NDArray[np.bool_]:
    """Instants `even` (n,) that no long stretch without readings covers."""
    known = np.flatnonzero(np.isfinite(values))
    there: NDArray[np.bool_] = (even >= time[known[0]]) & (even <= time[known[-1]])
    for k in np.flatnonzero(np.diff(time[known]) > _UNREAD_S).tolist():
        first, last = np.searchsorted(even, (time[known[k]], time[known[k + 1]]))
        there[first:last] = False
    return there


def _lateness(
    values: Array, causes: Array, step: float, there: NDArray[np.bool_] | None = None
) -> tuple[float, float]:
    """How late `values` (n,) are against combinations of `causes` (n, k) [s], and the gain; 0 if unclear.

    `there` (n,) says where both were read; elsewhere they are bridged and tell nothing.
    """
    most = min(round(_LATEST_S / step), values.size // 4)
    inside = slice(most, values.size - most)
    chosen = slice(None) if there is None or there[inside].all() else np.flatnonzero(there[inside])
    count = inside.stop - inside.start if isinstance(chosen, slice) else len(chosen)
    if count < 100:
        return 0.0, 0.0
    basis, _ = np.linalg.qr(causes[inside][chosen])
    shifts = np.arange(-most, most + 1)
    left = np.full(shifts.size, np.inf)

    def fill(some: NDArray[np.int64]) -> None:
        for k in some.tolist():
            y = values[inside.start + shifts[k] : inside.stop + shifts[k]][chosen]
            y = y - y.mean()
            left[k] = float(y @ y) - float(np.sum((basis.T @ y) ** 2))

    fill(np.flatnonzero((np.abs(shifts) * step <= _FINE_S) | (shifts % 5 == 0)))
    best = int(np.argmin(left))
    near = np.arange(max(best - 4, 0), min(best + 5, shifts.size))
    fill(near[np.isinf(left[near])])
    best = int(np.argmin(left))
    if best in (0, shifts.size - 1) or left[best] <= 0.0:
        return 0.0, 0.0
    ratio = left[most] / left[best]
    gain = 0.5 * count * step / _MEMORY_S * float(np.log(ratio))
    late = float(shifts[best]) * step
    if abs(late) < _NOTICED_S or gain < _CLEAR or ratio < _BETTER:
        return 0.0, 0.0
    return late, gain


def uneven_sampling(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Time steps that vary throughout: a logger that misses rows, or writes when it can."""
    if log.time_s is None or len(log.time_s) < 50:
        return
    step = np.diff(log.time_s)
    # a logger that slows down evenly is not uneven: steps are held against those around them
    around = np.median([np.roll(step, k) for k in (-2, -1, 0, 1, 2)], axis=0)
    off = np.abs(step / around - 1.0) > _UNEVEN
    if np.mean(off) > 0.1:
        yield Finding(
            log.run.id,
            None,
            "note",
            "uneven-sampling",
            f"{100.0 * float(np.mean(off)):.0f} % of the time steps differ by more than "
            f"{100 * _UNEVEN:.0f} % from those around them (median {1e3 * float(np.median(step)):.3g} ms, "
            f"from {1e3 * float(step.min()):.3g} to {1e3 * float(step.max()):.3g} ms)",
            "Nothing to do: each row counts at its own time.",
            **between(log, 0, len(log.time_s) - 1),
        )
