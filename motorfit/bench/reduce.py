"""From thousands of samples to some hundreds of block means that carry the same information.

After a transient (start, throttle step, supply switched) blocks begin at one sample or a millisecond and grow
to 80 ms, so the fast part that teaches inertia keeps its resolution and the slow part costs little.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from motorfit.bench.alignment import aligned_voltage, shown_lateness
from motorfit.bench.blocks import Blocks, stepped
from motorfit.bench.bridge import bridged
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog
from motorfit.bench.models import Run
from motorfit.bench.noise import NoiseModel, block_moments, measure_noise, typical_noise
from motorfit.bench.spans import DRIVEN, FREEWHEEL, driven_span, mode_of
from motorfit.bench.spikes import without_spikes
from motorfit.bench.supply import Supply, learn_supply

__all__ = ["BlockedRun", "reduce_run", "reduce_runs"]

Array = npt.NDArray[np.float64]

SHORTEST_S = 1e-3
LONGEST_S = 0.08
GROWTH = 1.3
MOST_BLOCKS = 400
_GAP = 5.0
"""Sampling intervals without a sample that make a gap."""
_RAMP_PER_S = 0.5
"""Rate of throttle [1/s] up to which a steady sweep is no transient."""
_HELD = 0.01
"""Change of throttle over a block [1] that may be taken as its mean."""
_UNTOLD: Mapping[str, NoiseModel] = MappingProxyType({})


@dataclass(frozen=True)
class BlockedRun:
    """A run as inference sees it.  n blocks (or rows of a table).

    Attributes
    ----------
    run : the run of the campaign file
    mode : "driven" (throttle and supply known), "freewheel" (no motor current) or "at-speed" (steady rows at
        the logged speed: tables, and logs without throttle or voltage)
    start_s, length_s : (n,) begin and length of each block [s]; zeros and NaN for tables
    samples : (n,) samples averaged in each block
    throttle : (n,) [1], NaN where not logged
    supply : how the bus voltage is represented
    on : (n,) share of the block in which the controller drives [1]
    slope : (n,) rate of change of throttle within the block [1/s]; of speed [rad/s²] where "at-speed"
    mean : channel -> (n,) block means in SI, NaN where absent
    variance, covariance : channel -> (n,) of each mean, and with the block before [unit²]
    noise : channel -> measured noise
    omega_start, omega_start_sd : speed at the start of the first block and its doubt [rad/s]
    findings : what was left out, and why
    """

    run: Run
    mode: str
    start_s: Array
    length_s: Array
    samples: Array
    throttle: Array
    supply: Supply
    on: Array
    slope: Array
    mean: Mapping[str, Array]
    variance: Mapping[str, Array]
    covariance: Mapping[str, Array]
    noise: Mapping[str, NoiseModel]
    omega_start: float
    omega_start_sd: float
    findings: tuple[Finding, ...]

    @property
    def size(self) -> int:
        """Number of blocks."""
        return int(self.samples.size)


def reduce_runs(logs: Sequence[RunLog]) -> tuple[BlockedRun, ...]:
    """Reduce the runs of a bench to blocks, in their order.

    A run too short or too restless to show the noise of a channel takes that of the sensor in the other runs.
    """
    late_s = _voltage_late_s(logs)
    runs = [reduce_run(log.run, log.time_s, log.channels, late_s=late_s) for log in logs]
    names = dict.fromkeys(name for r in runs for name in r.noise)
    typical = {name: typical_noise([r.noise[name] for r in runs if name in r.noise]) for name in names}
    known = {name: noise for name, noise in typical.items() if noise is not None}
    for k, (log, r) in enumerate(zip(logs, runs, strict=True)):
        if any(name in known and not noise.measured for name, noise in r.noise.items()):
            runs[k] = reduce_run(log.run, log.time_s, log.channels, known, late_s)
    return tuple(runs)


def _voltage_late_s(logs: Sequence[RunLog]) -> float:
    """How late the voltage is by the runs that show it [s]; 0 where none does."""
    shown = [
        shown_lateness(log.time_s, log.channels["voltage"], log.channels["current"])
        for log in logs
        if log.time_s is not None and {"voltage", "current"} <= log.channels.keys()
    ]
    known = [late for late in shown if late is not None]
    return float(np.median(known)) if known else 0.0


def reduce_run(
    run: Run,
    time_s: Array | None,
    channels: Mapping[str, Array],
    typical: Mapping[str, NoiseModel] = _UNTOLD,
    late_s: float = 0.0,
) -> BlockedRun:
    """Reduce one run to blocks.

    Parameters
    ----------
    run : the run
    time_s : (n,) strictly increasing [s], or None for a table of steady points
    channels : channel -> (n,) samples in SI units, NaN where missing
    typical : channel -> noise of the sensor, for channels whose noise this log does not show
    late_s : how late the voltage is, for a log that does not show it [s]

    Returns
    -------
    BlockedRun
    """
    if time_s is None:
        return _table(run, channels)
    mode = mode_of(run, channels)
    span, on, findings = driven_span(run, mode, time_s, channels)
    t = time_s[span]
    on = on[span]
    dt = float(np.median(np.diff(t)))
    clean: dict[str, Array] = {}
    for name, values in channels.items():
        if not np.isfinite(values[span]).any():
            continue
        clean[name], spikes = without_spikes(run, name, time_s[span], values[span])
        findings = (*findings, *spikes)
    if mode == DRIVEN and "current" in clean and "voltage" in clean:
        clean["voltage"], moved = aligned_voltage(run, t, clean["voltage"], clean["current"], late_s)
        findings = (*findings, *moved)
    throttle = clean.pop("throttle", None)
    if throttle is None:
        throttle = np.ones(t.size)
    edges, since = _edges(t, dt, throttle, on)
    quiet = since > 0.25
    counts = np.diff(edges).astype(np.float64)
    mean: dict[str, Array] = {}
    variance: dict[str, Array] = {}
    covariance: dict[str, Array] = {}
    noise: dict[str, NoiseModel] = {}
    for name, values in clean.items():
        noise[name] = measure_noise(values, dt, quiet)
        if name in typical and not noise[name].measured:
            noise[name] = typical[name]
        mean[name], share = _block_mean(values, edges)
        variance[name], covariance[name] = block_moments(noise[name], np.maximum(counts * share, 1.0), dt)
    start = t[edges[:-1]]
    # a gap in the log is a block of its own, without readings: time passes in it all the same
    following = np.append(start[1:], t[-1] + dt)
    end = np.minimum(following, t[edges[1:] - 1] + _GAP * dt)
    holes = np.flatnonzero(following > end + 0.5 * dt)  # not the last digit of a sum of intervals
    level, _ = _block_mean(throttle, edges)
    driving, _ = _block_mean(on, edges)
    tilt = _tilt(throttle, edges, dt)
    blocks = Blocks(start, following - start, counts, level, tilt, driving, mean, variance, covariance)
    blocks = stepped(blocks.with_empty(holes, end[holes]), np.insert(since[edges[:-1]], holes + 1, np.inf))
    middle = blocks.start_s + 0.5 * blocks.length_s
    mistimed: tuple[Array, ...] = ()
    if mode == DRIVEN and "voltage" in clean:
        read = np.isfinite(blocks.mean["voltage"])
        mistimed = tuple(
            np.where(read, np.repeat(_block_mean(v, edges)[0], _pieces(blocks, start)), np.nan)
            for v in _half_a_sample_off(clean["voltage"])
        )
    omega0, omega0_sd = _start_speed(clean.get("speed"), noise.get("speed"))
    slope = blocks.slope
    if mode not in (DRIVEN, FREEWHEEL) and "speed" in mean and middle.size > 1:
        slope = np.gradient(bridged(blocks.mean["speed"]), middle)
    supply = (
        learn_supply(middle, blocks.mean, blocks.variance, blocks.covariance, mistimed)
        if mode == DRIVEN
        else Supply.as_logged(blocks.mean.get("voltage", np.full(middle.size, np.nan)))
    )
    return BlockedRun(
        run, mode, blocks.start_s, blocks.length_s, blocks.samples, blocks.throttle, supply, blocks.on, slope,
        blocks.mean, blocks.variance, blocks.covariance, noise, omega0, omega0_sd, findings,
    )  # fmt: skip


def _table(run: Run, channels: Mapping[str, Array]) -> BlockedRun:
    """A table's rows as they stand; rows at rest say nothing of a turning motor and are left out, said so."""
    speed = channels.get("speed")
    n = next(iter(channels.values())).size
    keep = np.ones(n, dtype=bool) if speed is None else np.isfinite(speed) & (speed > 0.15 * np.nanmax(speed))
    findings: tuple[Finding, ...] = ()
    if not keep.all():
        findings = (
            Finding(
                run.id, "speed", "note", "rows-at-rest",
                f"{np.count_nonzero(~keep)} of {n} rows stand still or turn below 15 % of the top speed "
                "and are not fitted",
                "Nothing to mend: the model describes a turning motor.",
            ),
        )  # fmt: skip
    mean = {name: values[keep] for name, values in channels.items() if name != "throttle"}
    size = int(np.count_nonzero(keep))
    throttle = channels["throttle"][keep] if "throttle" in channels else np.full(size, np.nan)
    return BlockedRun(
        run, "at-speed", np.zeros(size), np.full(size, np.nan), np.ones(size), throttle,
        Supply.as_logged(mean.get("voltage", np.full(size, np.nan))), np.ones(size), np.zeros(size),
        mean, {}, {}, {}, 0.0, 0.0, findings,
    )  # fmt: skip


def _edges(t: Array, dt: float, throttle: Array, on: Array) -> tuple[npt.NDArray[np.int64], Array]:
    """Sample indices where blocks begin (and the end); each sample's time since the last transient [s]."""
    step = np.diff(throttle)
    jump = np.zeros(t.size, dtype=bool)
    jump[0] = True
    jump[1:] |= np.abs(step) > 0.01
    # a slow log shows a slow sweep as steps; nothing passes there
    swept = np.concatenate(([False], np.abs(np.diff(step)) < 0.01)) & (np.abs(step) < _RAMP_PER_S * dt)
    passing = jump.copy()
    passing[1:] &= ~swept
    for other in (np.abs(np.diff(on)) > 0.5, np.diff(t) > _GAP * dt):
        jump[1:] |= other
        passing[1:] |= other
    since = t - t[np.maximum.accumulate(np.where(passing, np.arange(t.size), 0))]
    longest = max(LONGEST_S, t.size * dt / MOST_BLOCKS)  # of what was logged: a gap makes no block coarser
    jumps = np.append(np.flatnonzero(jump), t.size)
    edges: list[int] = []
    for begin, end in itertools.pairwise(jumps):
        here, length = int(begin), max(SHORTEST_S, dt)
        while here < end:
            edges.append(here)
            stop = int(np.searchsorted(t, t[here] + length - 0.5 * dt, side="left"))
            swung = np.abs(throttle[here + 1 : stop] - throttle[here]) > _HELD
            if swung.any():
                stop = here + 1 + int(np.argmax(swung))
            here = min(max(stop, edges[-1] + 1), int(end))
            length = min(length * GROWTH, longest)
    edges.append(t.size)
    return np.asarray(edges, dtype=np.int64), since


def _block_mean(values: Array, edges: npt.NDArray[np.int64]) -> tuple[Array, Array]:
    """Mean of each block over its finite samples, and the share that is finite; NaN below one half."""
    good = np.isfinite(values)
    total = np.add.reduceat(np.where(good, values, 0.0), edges[:-1])
    number = np.add.reduceat(good.astype(np.float64), edges[:-1])
    share = number / np.diff(edges)
    mean = np.where(share >= 0.5, total / np.maximum(number, 1.0), np.nan)
    return mean, share


def _tilt(throttle: Array, edges: npt.NDArray[np.int64], dt: float) -> Array:
    """Slope of the line nearest to the throttle held over each sample of `dt` [s], by block [1/s]."""
    counts = np.diff(edges)
    first = np.repeat(edges[:-1], counts)
    off = np.arange(throttle.size) - first - 0.5 * (np.repeat(counts, counts) - 1.0)
    moment = np.add.reduceat(off * (np.nan_to_num(throttle) - np.nan_to_num(throttle[first])), edges[:-1])
    return np.asarray(12.0 * moment / (counts**3 * dt))


def _half_a_sample_off(values: Array) -> tuple[Array, Array]:
    """The samples as they would be half an interval earlier, and later."""
    between = 0.5 * (values[1:] + values[:-1])
    return np.append(between, values[-1]), np.insert(between, 0, values[0])


def _pieces(blocks: Blocks, start_s: Array) -> npt.NDArray[np.int64]:
    """(n,) How many of the blocks begin from each of the starts (n,) [s] on to the next."""
    at = np.searchsorted(blocks.start_s, start_s - 1e-9)
    return np.diff(np.append(at, blocks.start_s.size))


def _start_speed(speed: Array | None, noise: NoiseModel | None) -> tuple[float, float]:
    """Speed at the first sample and a generous doubt of it [rad/s].

    Rest, exactly, where the reading is within noise.
    """
    if speed is None or noise is None or not np.isfinite(speed).any():
        return 0.0, 10.0
    first = float(speed[np.flatnonzero(np.isfinite(speed))[0]])
    doubt = float(np.hypot(noise.sd, noise.white_sd))
    if first < 5.0 * doubt + 1.0:
        return 0.0, 0.0
    return first, 3.0 * doubt + 1.0


__all__ += ["DRIVEN", "FREEWHEEL"]
