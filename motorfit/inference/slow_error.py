"""Slow errors of a channel within a run, integrated out: zero drift, and what the model does not describe.

In each run a channel may be off by a smooth curve, a sum of cosines over the run with a common size per
channel. Being linear and Gaussian it is integrated exactly: with U the whitened columns, (1 + U Uᵀ)^(-1/2) r
is the whitened residual, and a thin singular value decomposition U = Q s Vᵀ makes that r - Q (1 -
(1+s²)^(-1/2)) Qᵀ r.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from motorfit.physics.slots import MODE_AT_SPEED, N_CHANNELS

if TYPE_CHECKING:
    from motorfit.inference.target import Flat

__all__ = ["COSINES", "SlowError", "columns", "directions", "slow_error"]

Array = npt.NDArray[np.float64]

COSINES = 5


@dataclass(frozen=True)
class SlowError:
    """Directions that are integrated out.

    Attributes
    ----------
    basis : (N_CHANNELS, K, blocks) orthonormal within a run and channel [-]
    shrink : (runs, N_CHANNELS, K) share of each direction taken out of the residual [-]
    log_det : half the log-determinant of what the directions add to the covariance [-]
    size : (N_CHANNELS,) standard deviation of each cosine relative to the largest reading [1]
    """

    basis: Array
    shrink: Array
    log_det: float
    size: Array

    def draw(self, flat: Flat, scatter: Array, rng: np.random.Generator) -> Array:
        """Realisations of the slow error: `scatter` (draws, N_CHANNELS) of tables; to (draws, blocks,
        N_CHANNELS)."""
        out = np.zeros((scatter.shape[0], flat.h.size, N_CHANNELS))
        for r, (a, b) in enumerate(pairwise(flat.first)):
            for c in range(N_CHANNELS):
                u = _curves(flat, r, c, self.size[c])
                if u is None:
                    continue
                curve = rng.standard_normal((scatter.shape[0], u.shape[1])) @ u.T
                out[:, a:b, c] = curve * (scatter[:, c : c + 1] if flat.mode[r] == MODE_AT_SPEED else 1.0)
        return out


def _curves(flat: Flat, r: int, c: int, size: float) -> Array | None:
    """(blocks of the run, K) unit draws of the slow error of a run's channel [unit]; None where there is
    none."""
    a, b = flat.first[r], flat.first[r + 1]
    if not np.isfinite(flat.variance[a:b, c]).any():
        return None
    if flat.mode[r] == MODE_AT_SPEED:
        # rows of a table share errors of calibration and reading that vary slowly along it
        return columns(b - a)[:, :3] * np.sqrt(np.nan_to_num(flat.variance[a:b, c]))[:, None] * 0.7
    if size <= 0.0:
        return None
    full = float(np.nanmax(np.abs(flat.y[a:b, c])))
    return np.asarray(columns(b - a) * (size * full) / np.sqrt(np.arange(COSINES + 1) + 1.0))


def columns(n: int) -> Array:
    """(n, COSINES + 1) smooth curves over a run's blocks, unit amplitude [-]: a constant first."""
    x = (np.arange(n) + 0.5) / n
    return np.cos(np.pi * x[:, None] * np.arange(COSINES + 1)[None, :])


def slow_error(flat: Flat, isd: Array, phi: Array, size: Array) -> SlowError:
    """Directions for a given size of the slow error.

    Parameters
    ----------
    flat, isd, phi : data and whitening
    size : (N_CHANNELS,) standard deviation of each cosine, relative to the channel's largest reading in the
        run [1]
    """
    k = COSINES + 1
    basis = np.zeros((N_CHANNELS, k, flat.h.size))
    shrink = np.zeros((flat.first.size - 1, N_CHANNELS, k))
    log_det = 0.0
    for r, (a, b) in enumerate(pairwise(flat.first)):
        for c in range(N_CHANNELS):
            if np.count_nonzero(isd[a:b, c]) < 3 or _curves(flat, r, c, float(size[c])) is None:
                continue
            q, s = directions(flat, isd, phi, r, c, float(size[c]))
            basis[c, : s.size, a:b] = q.T
            shrink[r, c, : s.size] = 1.0 - 1.0 / np.sqrt(1.0 + s * s)
            log_det += 0.5 * float(np.sum(np.log1p(s * s)))
    return SlowError(basis, shrink, log_det, size)


def directions(flat: Flat, isd: Array, phi: Array, r: int, c: int, size: float) -> tuple[Array, Array]:
    """Orthonormal whitened directions (blocks, K) of a run's channel, and their strength (K,) [-]."""
    a, b = flat.first[r], flat.first[r + 1]
    u = _curves(flat, r, c, size)
    if u is None:
        return np.zeros((b - a, 0)), np.zeros(0)
    white = u.copy()
    white[1:] -= phi[a + 1 : b, c, None] * u[:-1]
    q, s, _ = np.linalg.svd(white * isd[a:b, c, None], full_matrices=False)
    return q, s
