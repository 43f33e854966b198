"""Readings that leave for a while and come back, or stand: taken as missing or let go as a log is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.dropouts import harmonic_spans, speed_excursions
from motorfit.bench.findings import Finding
from motorfit.bench.held import held_rows, released
from motorfit.bench.rawtable import remark_rows

__all__ = ["without_excursions"]

Array = NDArray[np.float64]
Positions = NDArray[np.int64]

_CHANNELS = ("voltage", "current", "thrust", "torque")
_SIDE = 4
_OUT = 12.0
"""Spreads of its neighbours by which a spike stands outside them."""

_LEAST = 0.05
"""Share of a channel's usual size below which nothing counts as a spike."""

_MOST_JUMPS = 0.3
"""Share of samples that jump beyond which a channel is rough and not spiked."""

_WILD = 4.0
"""Times the largest other reading beyond which a lone sample is none, whatever throttle and speed do."""

_STILL_THROTTLE = 0.03
_STILL_SPEED = 0.05
_TURNING = 0.2


def without_excursions(
    run: str, time_s: Array, channels: Mapping[str, Array], rows: NDArray[np.int64]
) -> tuple[dict[str, Array], list[Finding]]:
    """The channels (n,) with NaN where a reading cannot be one, at time_s (n,) [s]; findings name the `rows`.

    Speed at zero or a harmonic; lone samples of other channels far outside their neighbours, and stretches of
    exact zeros, while throttle and speed stay as they are. Values that stand for
    several rows each are let go.
    """
    found: list[Finding] = []
    clean = dict(channels)

    def taken_out(channel: str, kind: str, what: str, remedy: str, out: Positions) -> None:
        if out.size == 0:
            return
        clean[channel] = clean[channel].copy()
        clean[channel][out] = np.nan
        remark = remark_rows("warning", kind, f"{what}; taken as missing", remedy, rows[out])
        first_s, last_s = float(time_s[out[0]]), float(time_s[out[-1]])
        found.append(replace(remark.of(run, channel), start_s=first_s, end_s=last_s))

    throttle = channels.get("throttle")
    if "speed" in channels:
        remedy = "Look at the speed sensor: it misses edges or counts them twice."
        taken_out(
            "speed", "speed-dropout", "speed leaves for an instant and comes back", remedy,
            _samples(speed_excursions(time_s, clean["speed"])),
        )  # fmt: skip
        taken_out(
            "speed", "speed-harmonic",
            "speed jumps to zero or to a simple ratio of itself, and only later back", remedy,
            _samples(harmonic_spans(time_s, clean["speed"], throttle)),
        )  # fmt: skip
    jumps = {c: _jumps(clean[c]) for c in _CHANNELS if c in channels}
    lone = {
        c: _lone(clean[c], jumps[c], clean.get("speed"), throttle, c in ("thrust", "voltage")) for c in jumps
    }
    uneven = _after_pauses(time_s)
    for channel, at in lone.items():
        remedy = f"Look at the sensor of {channel} and its cable."
        drives = channel in ("current", "voltage")
        taken_out(
            channel, "dropout", f"{channel} is exactly zero while the motor goes on", remedy,
            _zeros(clean[channel], jumps[channel], clean.get("speed"), throttle, drives),
        )  # fmt: skip
        if drives:  # a supply that switches moves both at once, and so does a motor that is let go
            other = lone.get("voltage" if channel == "current" else "current", at[:0])
            at = at[~np.isin(at, other[:, None] + np.arange(-2, 3))]
        at = at[~uneven[at] & np.isfinite(clean[channel][at])]
        taken_out(channel, "spikes", f"lone samples of {channel} jump out of line", remedy, at)
    for channel in ("speed", *_CHANNELS):
        held = held_rows(clean[channel]) if channel in clean else None
        if held is None:
            continue
        clean[channel] = released(time_s, clean[channel])
        rate = held * float(np.median(np.diff(time_s)))
        found.append(
            Finding(
                run,
                channel,
                "note",
                "values-held",
                f"each value of {channel} stands for {held:.0f} rows, it is new only every {rate:.3g} s; "
                "taken at the row where it came, and on a line from there to the next",
                "Nothing to do; log the sensor as fast as it is if you can.",
                float(time_s[0]),
                float(time_s[-1]),
                (int(rows[0]), int(rows[-1])),
            )
        )
    return clean, found


def _samples(spans: list[tuple[int, int]]) -> Positions:
    return np.array([i for first, end in spans for i in range(first, end)], dtype=np.int64)


def _after_pauses(time_s: Array) -> NDArray[np.bool_]:
    """Samples (n,) next to a step of time longer than five usual ones: neighbours in rows, not in time."""
    step = np.diff(time_s)
    long = np.flatnonzero(step > 5.0 * np.median(step))
    out = np.zeros(len(time_s), dtype=bool)
    near = np.unique(long[:, None] + np.arange(-1, 3))
    out[near[(near >= 0) & (near < len(time_s))]] = True
    return out


def _size(values: Array) -> float:
    """What a channel reads at most, lone samples aside."""
    some = np.abs(values[:: max(len(values) // 20_000, 1)])
    some = some[np.isfinite(some)]
    return float(np.percentile(some, 95)) if len(some) else 0.0


def _jumps(values: Array) -> Positions:
    """Samples (k,) at whose end the channel jumps; none where it does so all the time."""
    size = _size(values)
    if size <= 0.0 or len(values) < 40:
        return np.empty(0, dtype=np.int64)
    step = np.abs(np.diff(values))
    some = step[:: max(len(step) // 20_000, 1)]
    some = some[np.isfinite(some)]
    usual = float(np.median(some)) if len(some) else 0.0
    with np.errstate(invalid="ignore"):
        jumps = np.flatnonzero(step > max(_LEAST * size, _OUT * usual))
    return jumps if len(jumps) <= _MOST_JUMPS * len(values) else np.empty(0, dtype=np.int64)


def _lone(
    values: Array, jumps: Positions, speed: Array | None, throttle: Array | None, tame: bool
) -> Positions:
    """Lone samples, or two together, outside the range of four neighbours on either side.

    A `tame` channel does not rush when the throttle jumps, as current and the torque of what accelerates do.
    """
    near = np.unique(jumps[:, None] + np.arange(3))
    near = near[(near >= _SIDE) & (near < len(values) - _SIDE)]
    if near.size == 0:
        return near
    every = np.arange(_SIDE, len(values) - _SIDE, max(len(values) // 2000, 1))
    low, high = _range(values, every)
    typical = float(np.nanmedian(high - low)) if np.isfinite(high - low).any() else 0.0
    low, high = _range(values, near)
    beyond = np.maximum(low - values[near], values[near] - high)
    with np.errstate(invalid="ignore"):
        bad = near[(beyond > _OUT * np.maximum(high - low, typical)) & (beyond > _LEAST * _size(values))]
    wild = _WILD * _top(values, near) if tame else np.inf
    taken = [i for i in bad.tolist() if _quiet(i - 1, i + 1, speed, throttle) or abs(values[i]) > wild]
    return np.array(taken, dtype=np.int64)


def _top(values: Array, near: Positions) -> float:
    """Largest reading that is not beside a jump, nor itself one."""
    calm = np.abs(values)
    calm[near] = np.nan
    return float(np.nanmax(calm)) if np.isfinite(calm).any() else np.inf


def _range(values: Array, at: Positions) -> tuple[Array, Array]:
    """Second lowest and second highest of the eight neighbours of samples (k,): one may be off as well."""
    shifts = np.array([k for k in range(-_SIDE, _SIDE + 1) if k != 0])
    around = np.sort(values[at[:, None] + shifts], axis=1)
    return around[:, 1], around[:, -2]


def _zeros(
    values: Array, jumps: Positions, speed: Array | None, throttle: Array | None, drives: bool
) -> Positions:
    """Stretches of exact zeros that begin and end with a jump.

    With `drives` the channel is what makes the motor turn: where its speed falls meanwhile, zero was true.
    """
    out: list[int] = []
    into = [int(j) for j in jumps if values[j + 1] == 0.0]
    for j in into:
        back = jumps[
            (jumps > j) & (values[jumps] == 0.0) & (values[np.minimum(jumps + 1, len(values) - 1)] != 0.0)
        ]
        if back.size == 0 or (out and j <= out[-1]):
            continue
        first, end = j + 1, int(back[0]) + 1
        if np.any(values[first:end] != 0.0) or not 0.2 < abs(values[end] / values[j]) < 5.0:
            continue
        if not (_quiet(first - 1, first, None, throttle) and _quiet(end - 1, end, None, throttle)):
            continue
        if throttle is not None and not np.nanmin(throttle[first:end], initial=1.0) > 0.02:
            continue
        if speed is not None:
            known = speed[first:end]
            known = known[np.isfinite(known)]
            if known.size == 0 or known.min() < _TURNING * np.nanmax(speed):
                continue
            asked = 1.0 if throttle is None else min(throttle[end] / max(throttle[j], 1e-9), 1.0)
            if drives and end - first > 3 and not known[-1] > 0.95 * asked * known[0]:
                continue
        out += range(first, end)
    return np.array(out, dtype=np.int64)


def _quiet(first: int, last: int, speed: Array | None, throttle: Array | None) -> bool:
    """Whether throttle and speed stay where they are around samples first to last."""
    for values, most in ((throttle, _STILL_THROTTLE), (speed, _STILL_SPEED)):
        if values is None:
            continue
        near = values[max(first - _SIDE, 0) : last + _SIDE + 1]
        near = near[np.isfinite(near)]
        allowed = most if values is throttle else most * _size(values)
        if near.size and float(np.ptp(near)) > allowed:
            return False
    return True
