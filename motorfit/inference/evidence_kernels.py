"""Compiled inner loops of the evidence: scales of noise, and what a size of slow error is worth."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.compiled import kernel

__all__ = ["scale_of", "score_of_size"]

Array = npt.NDArray[Any]

_ROUNDS = 2


@kernel
def scale_of(
    n: float, strength: Array, left: float, along: Array, used: int, value: float, scales: Array
) -> float:
    """Of `scales`, the one of the noise that makes residuals most likely.

    n of them; `left`, the sum of squares across the `used` slow directions, `along` (K,) what is along them.
    """
    best, lowest = 1.0, math.inf
    for k in range(scales.size):
        square = scales[k] * scales[k]
        grown, fit = 1.0, left / square
        for i in range(used):
            size = square + (value * strength[i]) ** 2
            grown *= size
            fit += along[i] * along[i] / size
        fit += (n - used) * math.log(square) + math.log(grown)
        if fit < lowest:
            best, lowest = float(scales[k]), fit
    return best


@kernel
def _cholesky(a: Array) -> bool:
    """Lower factor of a (d, d), in its place; False where it has none."""
    d = a.shape[0]
    for i in range(d):
        for j in range(i + 1):
            total = a[i, j]
            for k in range(j):
                total -= a[i, k] * a[j, k]
            if j < i:
                a[i, j] = total / a[j, j]
            elif total > 0.0:
                a[i, i] = math.sqrt(total)
            else:
                return False
    return True


@kernel
def score_of_size(
    n: Array, used: Array, strength: Array, gram: Array, pull: Array, power: Array, along: Array,
    along_j: Array, h: Array, b: Array, value: float, scales: Array, step: Array, found: Array,
) -> float:  # fmt: skip
    """Log evidence of a size of slow error of one channel, up to what the other channels add.

    Parameters
    ----------
    n, used, power : (parts,) residuals, slow directions among them, sum of squares
    strength, along : (parts, K) of those directions; along_j : (parts, K, d)
    gram : (parts, d, d), pull : (parts, d) products of derivatives, with themselves and with residuals
    h, b : (d, d), (d,) what priors and other channels add
    value : size of the slow error [1]
    scales : (m,) of the noise that are tried [1]
    step : (d,) of the parameters, in and out
    found : (parts,) scales chosen, out

    Returns
    -------
    Minus infinity where the parameters are left undetermined.
    """
    parts, d = pull.shape
    score = -math.inf
    a, white, moved = np.empty((d, d)), np.empty(d), np.empty(strength.shape[1])
    for _ in range(_ROUNDS):
        total = 0.0
        a[:] = h
        white[:] = b
        for p in range(parts):
            left = power[p]
            for i in range(d):
                dot = 0.0
                for j in range(d):
                    dot += gram[p, i, j] * step[j]
                left += (2.0 * pull[p, i] + dot) * step[i]
            for i in range(used[p]):
                dot = along[p, i]
                for j in range(d):
                    dot += along_j[p, i, j] * step[j]
                moved[i] = dot
                left -= dot * dot
            scale = scale_of(n[p], strength[p], max(left, 0.0), moved, used[p], value, scales)
            found[p] = scale
            per = 1.0 / (scale * scale)
            fit = power[p]
            for i in range(d):
                white[i] += pull[p, i] * per
                for j in range(d):
                    a[i, j] += gram[p, i, j] * per
            for k in range(used[p]):
                slow = (value * strength[p, k]) ** 2
                share = slow / (scale * scale + slow)
                fit -= share * along[p, k] ** 2
                total += math.log1p(slow * per)
                for i in range(d):
                    white[i] -= along_j[p, k, i] * share * along[p, k] * per
                    weight = along_j[p, k, i] * share * per
                    for j in range(d):
                        a[i, j] -= weight * along_j[p, k, j]
            total += fit * per + 2.0 * n[p] * math.log(scale)
        if not _cholesky(a):
            return -math.inf
        for i in range(d):
            for j in range(i):
                white[i] -= a[i, j] * white[j]
            white[i] /= a[i, i]
            total += 2.0 * math.log(a[i, i]) - white[i] * white[i]
        score = -0.5 * total
        for i in range(d - 1, -1, -1):
            step[i] = -white[i] / a[i, i]
            for j in range(i):
                white[j] -= a[i, j] * white[i] / a[i, i]
    return score
