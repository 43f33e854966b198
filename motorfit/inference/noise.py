"""Noise learned from what the optimum leaves: its size per run and channel, slow errors, outliers.

The log's own high-frequency noise starts the fit; after it the whitened residuals say whether that was right.
A channel whose residuals wander is given a smooth error of learned size, by maximum marginal likelihood, so
that intervals widen where the model does not fit.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from motorfit.inference.slow_error import directions, slow_error
from motorfit.inference.target import Target, whitening
from motorfit.physics.forward import MODE_AT_SPEED, N_CHANNELS

__all__ = ["learn_noise", "same_noise"]

Array = npt.NDArray[np.float64]

_SIZES = np.concatenate(([0.0], np.geomspace(3e-5, 0.05, 14)))
_OUTLIER = 3.0
_NU = 4.0
_FEWEST = 12


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
    rest = flat.y - target.predict(z[None, :])[0]
    isd = _weigh_outliers(rest, isd, phi, flat.first, flat.mode)
    size = np.zeros(N_CHANNELS)
    for c in range(N_CHANNELS):
        if (isd[:, c] > 0.0).any():
            size[c] = _best_size(target, isd, phi, rest, c)
    slow = slow_error(flat, isd, phi, size)
    for r, (a, b) in enumerate(pairwise(flat.first)):
        if flat.mode[r] == MODE_AT_SPEED:
            continue
        for c in range(N_CHANNELS):
            if np.count_nonzero(isd[a:b, c]) >= _FEWEST:
                isd[a:b, c] /= _scale(
                    _project(_innovations(rest, isd, phi, a, b, c), slow.basis[a:b, c], slow.shrink[r, c])
                )
    # the projection depends on the whitening, so it is laid out once more with the final one
    return target.with_noise(isd, phi, slow_error(flat, isd, phi, size))


def same_noise(before: Target, after: Target) -> bool:
    """Whether two noise models of a campaign agree well enough for a fit: block doubts to 5 %, few outliers
    moved."""
    used = before.isd > 0.0
    if not used.any():
        return True
    ratio = np.abs(np.log(after.isd[used] / before.isd[used]))
    same_size = np.abs(after.slow.size - before.slow.size) <= 0.3 * np.maximum(
        after.slow.size, before.slow.size
    )
    return bool(np.mean(ratio > 0.05) < 0.02 and same_size.all())


def _innovations(rest: Array, isd: Array, phi: Array, a: int, b: int, c: int) -> Array:
    e = np.where(isd[a:b, c] > 0.0, rest[a:b, c], 0.0)
    before = np.concatenate(([0.0], e[:-1]))
    out: Array = (e - phi[a:b, c] * before) * isd[a:b, c]
    return out


def _project(r: Array, basis: Array, shrink: Array) -> Array:
    out: Array = r - basis @ (shrink * (basis.T @ r))
    return out


def _scale(r: Array) -> float:
    """Root mean square of the residuals that are there, never below a third."""
    used = r[r != 0.0]
    return max(float(np.sqrt(np.mean(used**2))), 1.0 / 3.0) if used.size else 1.0


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


def _best_size(target: Target, isd: Array, phi: Array, rest: Array, c: int) -> float:
    """Size of the slow error of a channel that makes its residuals most likely, noise scales profiled out."""
    flat = target.flat
    parts = []
    for r, (a, b) in enumerate(pairwise(flat.first)):
        n = np.count_nonzero(isd[a:b, c])
        if flat.mode[r] == MODE_AT_SPEED or n < _FEWEST:
            continue
        q, s = directions(flat, isd, phi, r, c, 1.0)
        w = _innovations(rest, isd, phi, a, b, c)
        parts.append((n, s, q.T @ w, float(w @ w)))
    scores = []
    for value in _SIZES:
        score = -0.5 * (value / 0.01) ** 2
        for n, s, along, power in parts:
            grown = 1.0 + (value * s) ** 2
            left = power - float(np.sum(along**2 * (1.0 - 1.0 / grown)))
            score -= n * np.log(max(np.sqrt(max(left, 0.0) / n), 1.0 / 3.0)) + 0.5 * float(
                np.sum(np.log(grown))
            )
        scores.append(score)
    return float(_SIZES[int(np.argmax(scores))])
