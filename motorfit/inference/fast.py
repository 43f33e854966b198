"""The fast path: draws around the optimum, importance-resampled with Pareto smoothing.

The proposal is a multivariate Student-t with the Laplace factor; its centre and shape are improved once from a first
batch.  The Pareto shape k̂ of the weights says whether the result can be trusted (A. Vehtari, D. Simpson, A. Gelman,
Y. Yao, J. Gabry, Pareto smoothed importance sampling, JMLR 25 (2024) 72).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.inference.optimum import Optimum
from motorfit.inference.target import Target

__all__ = ["FastDraws", "fast_draws", "k_threshold"]

Array = npt.NDArray[np.float64]

_NU = 100.0
"""Degrees of freedom.  In 80 dimensions a low ν would spread the radius so far that most draws are wasted."""


@dataclass(frozen=True)
class FastDraws:
    """Draws of the fast path.

    Attributes
    ----------
    z : (draws, coordinates) resampled draws, equally weighted
    log_density : (draws,) of the draws kept
    pareto_k : k̂ of the importance weights
    ess : effective sample size of the weights
    proposals : model evaluations spent
    """

    z: Array
    log_density: Array
    pareto_k: float
    ess: float
    proposals: int


def k_threshold(draws: int) -> float:
    """Largest k̂ that is trusted: min(1 - 1/log10 S, 0.7)."""
    return min(1.0 - 1.0 / math.log10(draws), 0.7)


def _propose(rng: np.random.Generator, z: Array, factor: Array, draws: int) -> tuple[Array, Array]:
    d = z.size
    normal = rng.standard_normal((draws, d))
    mix = rng.chisquare(_NU, draws) / _NU
    radius2 = np.sum(normal**2, axis=1) / mix
    log_q = -0.5 * (_NU + d) * np.log1p(radius2 / _NU)
    return z + (normal / np.sqrt(mix)[:, None]) @ factor.T, log_q


def smooth_weights(log_weight: Array) -> tuple[Array, float]:
    """Pareto-smoothed, normalised log weights (draws,) and k̂."""
    from arviz_stats.base import array_stats

    smoothed, k = array_stats.psislw(log_weight)
    return np.asarray(smoothed, dtype=np.float64), float(k)


def _moments(z: Array, log_weight: Array) -> tuple[Array, Array]:
    w = np.exp(log_weight - log_weight.max())
    w /= w.sum()
    mean = w @ z
    centred = (z - mean) * np.sqrt(w)[:, None]
    return mean, centred.T @ centred


def fast_draws(target: Target, optimum: Optimum, rng: np.random.Generator, draws: int, *, rounds: int = 2) -> FastDraws:
    """Draw from the posterior by importance resampling.

    Parameters
    ----------
    target : the posterior
    optimum : its Laplace approximation
    rng : random generator
    draws : how many draws are wanted
    rounds : how often the proposal is improved from weighted moments

    Returns
    -------
    FastDraws
    """
    centre, factor = optimum.z, optimum.factor
    spent = 0
    for _ in range(rounds):
        z, log_q = _propose(rng, centre, factor, draws // 2)
        spent += draws // 2
        lw = target.log_density(z) - log_q
        if not np.isfinite(lw).any():
            break
        # tempered until a tenth of the draws count: a few heavy ones must not decide the shape
        beta = 1.0
        while beta > 0.05 and _ess(beta * lw) < 0.3 * z.shape[0]:
            beta *= 0.8
        mean, cov = _moments(z, beta * lw)
        shrink = min(1.0, 0.35 + 2.0 * z.shape[1] / z.shape[0])
        cov = (1.0 - shrink) * cov + shrink * (factor @ factor.T)
        centre, factor = mean, np.linalg.cholesky(cov + 1e-12 * np.eye(mean.size))
    z, log_q = _propose(rng, centre, factor, draws)
    density = target.log_density(z)
    smoothed, k = smooth_weights(density - log_q)
    weight = np.exp(smoothed - smoothed.max())
    weight /= weight.sum()
    keep = _resample(weight, draws, rng)
    return FastDraws(z[keep], density[keep], k, float(1.0 / np.sum(weight**2)), spent + draws)


def _ess(log_weight: Array) -> float:
    w = np.exp(log_weight - np.nanmax(log_weight))
    return float(w.sum() ** 2 / np.sum(w**2))


def _resample(weight: Array, draws: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Systematic resampling, then a shuffle, so that neighbouring draws are not copies."""
    points = (rng.random() + np.arange(draws)) / draws
    keep = np.searchsorted(np.cumsum(weight), points).clip(0, weight.size - 1)
    return rng.permutation(keep)
