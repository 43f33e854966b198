"""Noise learned from what the optimum leaves: its size per run and channel, slow errors, outliers.

The log's own high-frequency noise starts the fit; after it the whitened residuals say whether that was right.
A channel whose residuals wander is given a smooth error of learned size, by maximum marginal likelihood, so
that intervals widen where the model does not fit.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from motorfit.inference.evidence import evidence_at
from motorfit.inference.graph import MEASURED
from motorfit.inference.slow_error import slow_error
from motorfit.inference.target import Target, whitening
from motorfit.physics.slots import MODE_AT_SPEED, N_CHANNELS

__all__ = ["learn_noise", "same_noise"]

Array = npt.NDArray[np.float64]

_OUTLIER = 3.0
_NU = 4.0
_NEGLIGIBLE = 1.5e-4
"""Difference in size of a slow error that no interval shows [1]."""

_FEWEST = 12
_JUMP = 10.0
"""Bend of a late channel from block to block, in deviations, beyond which a reading all but drops out: all
steps are off to the same side."""


def learn_noise(target: Target, z: Array) -> Target:
    """The same posterior with its noise model re-learned at a position.

    Parameters
    ----------
    target : the posterior
    z : (coordinates,) position, usually the optimum

    Returns
    -------
    Target.  Steady rows keep theirs: their scatter is unknown and integrated out.
    """
    flat = target.flat
    isd, phi = whitening(flat)
    ideal = target.predict(z[None, :])[0]
    rest = flat.y - ideal
    isd = _doubt_of_late(target, ideal, isd)
    isd = _weigh_outliers(rest, isd, phi, flat.first, flat.mode)
    bare = target.with_noise(isd, phi, slow_error(flat, isd, phi, np.zeros(N_CHANNELS)))
    size, scales = evidence_at(bare, z).most_likely(target.slow.size)
    for r, (a, b) in enumerate(pairwise(flat.first)):
        isd[a:b] /= scales[r]
    return target.with_noise(isd, phi, slow_error(flat, isd, phi, size))


def _doubt_of_late(target: Target, ideal: Array, isd: Array) -> Array:
    """Whitening with the doubt of how a late channel's curve is known between the blocks it is shifted from.

    Where it bends or jumps from block to block, at a step or where a current limit is left, which sample
    shows it first is not known; `ideal` (blocks, N_CHANNELS) is what the model reads.
    """
    flat, out = target.flat, isd.copy()
    middle = 0.5 * flat.h
    for c, name in enumerate(MEASURED[:-1]):
        if not target.graph.late(name):
            continue
        for r, (a, b) in enumerate(pairwise(flat.first)):
            if flat.mode[r] == MODE_AT_SPEED or b - a < 3:
                continue
            before, after = (
                middle[a : b - 2] + middle[a + 1 : b - 1],
                middle[a + 1 : b - 1] + middle[a + 2 : b],
            )
            y = ideal[a:b, c]
            straight = (y[:-2] * after + y[2:] * before) / (before + after)
            bend = np.concatenate(([0.0], np.abs(y[1:-1] - straight), [0.0]))
            seen = bend * isd[a:b, c]
            out[a:b, c] = isd[a:b, c] / np.sqrt(1.0 + (seen * (1.0 + seen / _JUMP)) ** 2)
    return out


def same_noise(before: Target, after: Target) -> bool:
    """Whether two noise models of a campaign agree well enough for a fit: block doubts to 5 %, few outliers
    moved."""
    used = before.isd > 0.0
    if not used.any():
        return True
    ratio = np.abs(np.log(after.isd[used] / before.isd[used]))
    larger = np.maximum(after.slow.size, before.slow.size)
    same_size = np.abs(after.slow.size - before.slow.size) <= np.maximum(0.3 * larger, _NEGLIGIBLE)
    return bool(np.mean(ratio > 0.05) < 0.02 and same_size.all())


def _innovations(rest: Array, isd: Array, phi: Array, a: int, b: int, c: int) -> Array:
    e = np.where(isd[a:b, c] > 0.0, rest[a:b, c], 0.0)
    before = np.concatenate(([0.0], e[:-1]))
    out: Array = (e - phi[a:b, c] * before) * isd[a:b, c]
    return out


def _weigh_outliers(
    rest: Array, isd: Array, phi: Array, first: npt.NDArray[np.int64], mode: npt.NDArray[np.int64]
) -> Array:
    """Lower the weight of blocks beyond three scaled deviations, as a Student's t would: glitches lose their
    pull."""
    out = isd.copy()
    for r, (a, b) in enumerate(pairwise(first)):
        if mode[r] == MODE_AT_SPEED:
            continue
        for c in range(N_CHANNELS):
            w = _innovations(rest, isd, phi, a, b, c)
            used = np.abs(w[w != 0.0])
            if used.size < _FEWEST:
                continue
            scale = max(1.4826 * float(np.median(used)), 1.0 / 3.0)
            beyond = np.abs(w) / scale > _OUTLIER
            weight = (_NU + _OUTLIER**2) / (_NU + (w / scale) ** 2)
            out[a:b, c] *= np.where(beyond, np.sqrt(weight), 1.0)
    return out
