"""A voltage that is logged late against the current: seen where the supply sags under steps of current."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from motorfit.bench.bridge import bridged
from motorfit.bench.findings import Finding
from motorfit.bench.models import Run

__all__ = ["aligned_voltage", "shown_lateness", "voltage_lateness"]

Array = npt.NDArray[np.float64]

_SLOW_S = 0.3
"""What changes more slowly than this tells nothing of timing."""

_LATEST_S = 0.55
_MOST_GRID = 20
"""Points of the even grid per sample beyond which a log is too uneven to tell."""

_CLEAR = 0.5
"""Correlation from which a sag is clearly that of the current."""

_BETTER = 1.2
"""How many times less the current must leave of the voltage when it is shifted."""


def voltage_lateness(time_s: Array, voltage: Array, current: Array) -> float:
    """How much later the voltage arrives than the current [s]; 0 where they are on time or nothing tells.

    Arguments as of `shown_lateness`.
    """
    return shown_lateness(time_s, voltage, current) or 0.0


def shown_lateness(time_s: Array, voltage: Array, current: Array) -> float | None:
    """How much later the voltage arrives than the current [s]; None where nothing tells.

    Parameters
    ----------
    time_s, voltage, current : (n,) samples [s], [V], [A]; NaN where missing
    """
    dt = float(np.median(np.diff(time_s)))
    if time_s.size < 64 or not (np.isfinite(voltage).sum() > 32 and np.isfinite(current).sum() > 32):
        return None
    # an even grid: a lag in samples is then one in time; nobody is helped by one of mostly gaps
    time_s = _without_gaps(time_s)
    if (time_s[-1] - time_s[0]) / dt > _MOST_GRID * time_s.size:
        return None
    even = np.arange(time_s[0], time_s[-1], dt)
    v, i = (_fast(np.interp(even, time_s, bridged(a)), dt) for a in (voltage, current))
    size = float(np.sqrt(np.sum(v * v) * np.sum(i * i)))
    if size <= 0.0:
        return None
    most = min(round(_LATEST_S / dt), v.size // 4)
    lags = np.arange(-most, most + 1)
    width = 1 << (2 * v.size - 1).bit_length()
    product = np.fft.irfft(np.fft.rfft(v, width) * np.conj(np.fft.rfft(i, width)), width)
    correlation = product[lags] / size
    best = int(np.argmin(correlation))
    left, left_now = 1.0 - correlation[best] ** 2, 1.0 - correlation[most] ** 2
    if correlation[best] > -_CLEAR:
        return None
    if lags[best] == 0:
        return 0.0
    if left_now < _BETTER * left:
        return None
    return float((lags[best] + _between(correlation, best)) * dt)


def _between(correlation: Array, best: int) -> float:
    """Where between the lags the correlation is least, in lags from the least one: of the parabola there."""
    if not 0 < best < correlation.size - 1:
        return 0.0
    before, here, after = correlation[best - 1 : best + 2]
    bend = before - 2.0 * here + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend > 0.0 else 0.0


def aligned_voltage(
    run: Run, time_s: Array, voltage: Array, current: Array, typical_s: float = 0.0
) -> tuple[Array, tuple[Finding, ...]]:
    """The voltage moved to where the current says that it belongs, and a finding where it was moved.

    ``typical_s`` : how late it is in other runs of the bench [s], for a run that does not show it itself.
    """
    shown = shown_lateness(time_s, voltage, current)
    late = typical_s if shown is None else shown
    if late == 0.0:
        return voltage, ()
    good = np.isfinite(voltage)
    moved = np.interp(time_s + late, time_s[good], voltage[good])
    moved[~good] = np.nan
    return moved, (
        Finding(
            run.id, "voltage", "note", "late-channel",
            f"the voltage sags {1e3 * abs(late):.3g} ms {'after' if late > 0.0 else 'before'} the current "
            f"that makes it sag{'' if shown else ', as in other runs'}; it was moved by that much",
            "Nothing to mend here; log both with one clock if you can.",
        ),
    )  # fmt: skip


def _without_gaps(time_s: Array) -> Array:
    """Time (n,) [s] with every step longer than what is compared shortened to that."""
    steps = np.minimum(np.diff(time_s), 2.0 * _LATEST_S)
    out: Array = np.concatenate(([0.0], np.cumsum(steps)))
    return out


def _fast(values: Array, dt: float) -> Array:
    out: Array = values - uniform_filter1d(values, max(round(_SLOW_S / dt), 3), mode="nearest")
    return out
