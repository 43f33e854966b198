"""Channels that are late or slow: found from what an optimum on time leaves, one channel at a time.

A late channel is shifted, a slow one follows the truth as a first-order sensor; both are tried over a grid.
At the optimum the parameters have already bent towards the late channel, so every trial lets them bend back:
the sum of squares is the least over all parameters, by the model's derivatives there.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from motorfit.inference.differences import linearise
from motorfit.inference.graph import MEASURED
from motorfit.inference.slow_error import slow_error
from motorfit.inference.target import Target, whitening
from motorfit.physics.slots import N_CHANNELS

__all__ = ["find_lateness", "negligible"]

Array = npt.NDArray[np.float64]

_DELAYS_S = np.concatenate([-np.geomspace(0.03, 0.0003, 10), np.geomspace(0.0003, 0.16, 24)])
_LAGS_S = np.geomspace(0.001, 0.5, 22)
_GAIN = 25.0
"""Fall of the sum of squares from which a channel counts as late: far beyond chance over the grid, and beyond
what a small misfit of the model's dynamics gives."""


def find_lateness(target: Target, z: Array, but: Container[str] = ()) -> dict[str, float]:
    """Channels that are late or slow, and by how much [s].

    The one that explains most is taken first, and the others are looked at beside it.

    Parameters
    ----------
    target : the posterior with its noise learned; what it already holds as late is not looked for again
    z : (coordinates,) its optimum
    but : names that are not looked for

    Returns
    -------
    ``delay_<channel>`` or ``lag_<channel>`` -> [s], only where the logs show one
    """
    logged = np.asarray((target.isd[target.flat.logged] > 0.0).any(axis=0))
    grids = {}
    for c, name in enumerate(MEASURED[:-1]):
        for kind, grid in (("delay", _DELAYS_S), ("lag", _LAGS_S)):
            found_before = f"{kind}_{name}" in target.graph.index or f"{kind}_{name}" in but
            if logged[c] and not found_before:
                grids[f"{kind}_{name}"] = grid
    look = _look(target, z)
    found: dict[str, float] = {}
    best = float(look.least({}, np.zeros(1), "")[0])
    while grids:
        tried = {}
        for kind, grid in grids.items():
            chi2 = look.least(found, grid, kind)
            tried[kind] = (float(chi2.min()), float(grid[int(np.argmin(chi2))]))
        kind = min(tried, key=lambda k: tried[k][0])
        if best - tried[kind][0] <= _GAIN:
            break
        best, found[kind] = tried[kind]
        del grids[kind]
    return found


def negligible(target: Target, z: Array) -> set[str]:
    """Lateness held by a target that its optimum makes too small to matter: lags below half a sampling
    interval, delays below a tenth of one. A start lasts some tens of samples, so a delay of a part of one is
    seen and moves the inertia."""
    runs = [r for r in target.graph.runs if r.mode != "at-speed"]
    interval = min((float(np.median(r.length_s / r.samples)) for r in runs), default=0.0)
    values = target.values(z[None, :])
    least = {"delay": 0.1 * interval, "lag": 0.5 * interval}
    names = [name for name in target.graph.index if name.startswith(("delay_", "lag_"))]
    return {name for name in names if abs(float(values[name][0])) < least[name.split("_", 1)[0]]}


@dataclass(frozen=True)
class _Look:
    """Least sums of squares about an optimum: `space` holds the orthonormal directions in which residuals can
    be moved by the parameters, (rows, coordinates)."""

    target: Target
    z: Array
    space: Array

    def least(self, late: Mapping[str, float], grid: Array, kind: str) -> Array:
        """(grid,) sums of squares with what is late already and one more kind over a grid [s]."""
        fixed: dict[str, Array] = {name: np.full(grid.size, value) for name, value in late.items()}
        if kind:
            fixed[kind] = grid
        rows = self.target.with_fixed(fixed).residuals(np.repeat(self.z[None, :], grid.size, axis=0))
        return np.asarray(np.sum(rows**2, axis=1) - np.sum((rows @ self.space) ** 2, axis=1))


def _look(target: Target, z: Array) -> _Look:
    target = _evenly_weighed(target)
    return _Look(target, z, np.linalg.qr(linearise(target, z).jacobian)[0])


def _evenly_weighed(target: Target) -> Target:
    """The same noise without the lower weights of outliers: of a late channel those blocks tell most."""
    flat = target.flat
    isd, _ = whitening(flat)
    for a, b in pairwise(flat.first):
        for c in range(N_CHANNELS):
            used = isd[a:b, c] > 0.0
            if used.any():
                isd[a:b, c] *= np.median(target.isd[a:b, c][used] / isd[a:b, c][used])
    return target.with_noise(isd, target.phi, slow_error(flat, isd, target.phi, target.slow.size))
