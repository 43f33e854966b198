"""Single samples that no shaft or sensor could have produced."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from motorfit.bench.findings import Finding
from motorfit.bench.models import Run

__all__ = ["without_spikes"]

Array = npt.NDArray[np.float64]


def without_spikes(run: Run, channel: str, time_s: Array, values: Array) -> tuple[Array, tuple[Finding, ...]]:
    """Values with lone outliers as NaN, and a finding that counts them.

    A sample is an outlier when it leaves the range of its four neighbours by more than twelve times their
    spread and the channel's own small-scale spread: a step passes (its neighbours span it), a spike does not.
    Only speed is screened; currents and forces do jump.
    """
    if channel != "speed" or values.size < 9:
        return values, ()
    neighbours = np.stack([np.roll(values, k) for k in (-2, -1, 1, 2)])
    low, high = neighbours.min(axis=0), neighbours.max(axis=0)
    spread = high - low
    if not np.isfinite(spread).any():
        return values, ()
    typical = float(np.nanmedian(spread)) + 1e-9
    beyond = np.maximum(low - values, values - high)
    bad = beyond > 12.0 * np.maximum(spread, typical)
    bad[:2] = bad[-2:] = False
    if not bad.any():
        return values, ()
    cleaned = np.where(bad, np.nan, values)
    where = np.flatnonzero(bad)
    finding = Finding(
        run.id, channel, "warning", "spikes",
        f"{where.size} lone sample(s) jump out of line and are not fitted",
        "Look at the speed sensor's wiring and its edge detection.",
        float(time_s[where[0]]), float(time_s[where[-1]]), tuple(int(i) + 1 for i in where[:100]),
    )  # fmt: skip
    return cleaned, (finding,)
