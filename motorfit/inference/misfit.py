"""Where replicas and readings part: by speed, time, temperature of the winding, direction of sweep."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.graph import MEASURED
from motorfit.inference.target import Target
from motorfit.physics.slots import C_WINDING_TEMPERATURE

__all__ = ["AXES", "misfits"]

Array = npt.NDArray[np.float64]

AXES = ("speed", "time", "winding_temperature", "direction")
_PARTS = 4
_FEWEST = 6
_SLOW = 0.02
"""Change of speed over a second, relative to the largest, below which a shaft counts as steady [1/s]."""

_C_SPEED = MEASURED.index("speed")


def misfits(target: Target, z: Array, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Compare mean readings of parts of the data with those of replicas.

    Parameters
    ----------
    target : the posterior
    z : (draws, coordinates) some dozens of draws
    rng : for the replicas

    Returns
    -------
    One entry a channel, axis and part with `channel`, `axis`, `low` and `high` end of the part (speed in
    rad/s, time as share of the run, temperature in °C; -1, 0, 1 for slowing down, steady, speeding up),
    `blocks`, `off` (mean reading less that of the replicas, relative to the channel's largest reading) and
    `deviations` of the replicas that this is.  Replicas share the parameters, so whatever the posterior
    leaves open is in their spread; the data were fitted, so deviations beyond two are rarer than chance.
    """
    flat = target.flat
    ideal = target.predict(z)
    logged = ideal + target.noise(z, rng)
    used = target.isd > 0.0
    out = []
    for axis in AXES:
        value = _axis(target, ideal, axis)
        for c, name in enumerate(MEASURED):
            here = used[:, c] & np.isfinite(value)
            if np.count_nonzero(here) < 2 * _FEWEST:
                continue
            full = float(np.abs(flat.y[here, c]).max())
            for low, high, part in _parts(value, here, axis):
                seen, replica = float(flat.y[part, c].mean()), logged[:, part, c].mean(axis=1)
                gap, spread = seen - float(replica.mean()), float(replica.std(ddof=1))
                if not (full > 0.0 and spread > 0.0):
                    continue
                out.append({
                    "channel": name, "axis": axis, "low": float(f"{low:.4g}"), "high": float(f"{high:.4g}"),
                    "blocks": int(np.count_nonzero(part)), "off": float(f"{gap / full:.3g}"),
                    "deviations": round(gap / spread, 2),
                })  # fmt: skip
    return out


def _axis(target: Target, ideal: Array, axis: str) -> Array:
    """(blocks,) value that blocks are sorted by, NaN where it has none."""
    flat = target.flat
    speed = ideal[:, :, _C_SPEED].mean(axis=0)
    if axis == "speed":
        return np.asarray(speed)
    out = np.full(speed.size, np.nan)
    for a, b in pairwise(flat.first):
        if not flat.logged[a] or b - a < 2:
            continue
        end = np.cumsum(flat.h[a:b])
        if axis == "time":
            out[a:b] = (end - 0.5 * flat.h[a:b]) / end[-1]
        elif axis == "winding_temperature":
            out[a:b] = ideal[:, a:b, C_WINDING_TEMPERATURE].mean(axis=0)
        else:
            rate = np.gradient(speed[a:b], end - 0.5 * flat.h[a:b]) / max(float(speed[a:b].max()), 1.0)
            out[a:b] = np.where(np.abs(rate) < _SLOW, 0.0, np.sign(rate))
    return out


def _parts(
    value: Array, here: npt.NDArray[np.bool_], axis: str
) -> list[tuple[float, float, npt.NDArray[np.bool_]]]:
    """Parts of equal number of blocks, or the three directions."""
    if axis == "direction":
        found = [(d, d, here & (value == d)) for d in (-1.0, 0.0, 1.0)]
    else:
        edges = np.unique(np.quantile(value[here], np.linspace(0.0, 1.0, _PARTS + 1)))
        if edges.size < 3 or edges[-1] - edges[0] < 1e-6 * abs(edges[-1]):
            return []
        found = []
        for k, (low, high) in enumerate(pairwise(edges)):
            upper = value <= high if k == edges.size - 2 else value < high
            found.append((float(low), float(high), here & (value >= low) & upper))
    return [(low, high, part) for low, high, part in found if np.count_nonzero(part) >= _FEWEST]
