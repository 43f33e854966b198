"""Effects of which it is as likely as not that there are none at all: draws without them.

The model is fitted with the effect, its size z half-normal from zero. Half of the belief is that there is
none, z = 0 exactly; how likely that is after the data, against the other half, is the posterior density at
zero over the prior's (the Savage-Dickey ratio: J. M. Dickey, Ann. Math. Statist. 42 (1971) 204). That
density, and draws of everything else given z = 0, come from the draws at hand, each moved along the
regression on z to zero and weighted (importance-weighted marginal density estimation: M.-H. Chen, J. Amer.
Statist. Assoc. 89 (1994) 818).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from motorfit.inference.priors import ABSENT
from motorfit.inference.target import Target

__all__ = ["with_absence"]

Array = npt.NDArray[np.float64]

_NAME = "controller_idle_current"
_NO_MATTER = 1e-3
"""Probability of absence that no interval shows [1]."""
_NEAR = (0.12, 0.25, 0.5)
"""Shares of the draws, nearest to zero, that are tried."""
_FITTED = 1000
"""Draws that the normal is fitted to; nothing but how even the weights are depends on it."""
_FEWEST = 60.0
"""Effective number of moved draws below which none is used."""
_EDGE = float(np.sqrt(2.0 / np.pi))
"""Density of a half-normal at zero."""


def with_absence(target: Target, z: Array, log_density: Array, rng: np.random.Generator) -> Array:
    """The draws, some of them replaced by draws without the effect.

    Parameters
    ----------
    target : the posterior, of the effect being there
    z : (draws, coordinates) equally weighted
    log_density : (draws,) of `target` there
    rng : random generator

    Returns
    -------
    (draws, coordinates), as many without the effect as its probability asks for, at random places
    """
    i = target.graph.index.get(_NAME)
    if i is None or np.ptp(z[:, i]) == 0.0:
        return z
    x = z[:, i]
    log_g, at_zero = _truncated_normal(x)
    if at_zero < _NO_MATTER * _EDGE:
        return z
    centred = x - x.mean()
    moved = z - np.outer(x, centred @ (z - z.mean(axis=0)) / (centred @ centred))
    moved[:, i] = 0.0
    w, density = _nearest(target, x, moved, log_g - log_density, log_g)
    if w is None:
        return z
    odds = ABSENT / (1.0 - ABSENT) * density / _EDGE
    number = round(z.shape[0] * odds / (1.0 + odds))
    steps = (np.arange(number) + rng.random()) / max(number, 1)
    picked = np.searchsorted(np.cumsum(w) / w.sum(), steps)
    out = z.copy()
    out[rng.permutation(z.shape[0])[:number]] = moved[np.minimum(picked, z.shape[0] - 1)]
    return out


def _nearest(
    target: Target, x: Array, moved: Array, log_w: Array, log_g: Array
) -> tuple[Array | None, float]:
    """Weights (draws,) of moved draws, none but of those nearest to zero, and the posterior density at zero.

    Parameters
    ----------
    target : the posterior
    x : (draws,) the effect's size in each draw
    moved : (draws, coordinates) the draws moved to where it is zero
    log_w : (draws,) their log-weights less their own log density
    log_g : (draws,) log density of the normal that stands for the draws'

    How many are used is what makes the weights most even: those from far off may have left a narrow ridge.
    None where all of them are too uneven to tell.
    """
    order = np.argsort(x)
    log_w = log_w.copy()
    best, chosen, density = _FEWEST, None, 0.0
    known, most_even = 0, 0.0
    for share in _NEAR:
        near = order[: max(round(share * x.size), 1)]
        log_w[near[known:]] += target.log_density(moved[near[known:]])
        known = near.size
        here = np.where(np.isfinite(log_w[near]), log_w[near], -np.inf)
        top = float(here.max())
        if not np.isfinite(top):
            continue
        w = np.zeros(x.size)
        w[near] = np.exp(here - top)
        even = float(w.sum() ** 2 / np.sum(w**2))
        if even > best:
            # of the density that stands for the draws', what lies that near to zero
            held = float(np.mean(x <= x[near[-1]]))
            best, chosen = even, w
            density = float(w.sum()) * np.exp(top) / x.size / held
        elif even < most_even:
            break
        most_even = max(most_even, even)
    return chosen, density


def _truncated_normal(x: Array) -> tuple[Array, float]:
    """Log density at draws x (draws,) of the normal cut at zero that fits them best, and that at zero."""
    from scipy.optimize import minimize
    from scipy.special import log_ndtr

    def log_density(at: Array, m: float, log_s: float) -> Array:
        s = np.exp(log_s)
        return np.asarray(-0.5 * ((at - m) / s) ** 2 - log_s - 0.5 * np.log(2.0 * np.pi) - log_ndtr(m / s))

    some = x[:: max(x.size // _FITTED, 1)]
    start = np.array([float(np.median(some)), float(np.log(some.std()))])
    found = minimize(lambda p: -float(log_density(some, *p).mean()), start, method="Nelder-Mead")
    m, log_s = (float(p) for p in found.x)
    return log_density(x, m, log_s), float(np.exp(log_density(np.zeros(1), m, log_s))[0])
