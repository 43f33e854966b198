"""How far a posterior would move if its priors, or its data, counted a little more or less.

Power scaling (N. Kallioinen, T. Paananen, P.-C. Bürkner, A. Vehtari, Stat. Comput. 34 (2024) 57,
doi:10.1007/s11222-023-10366-5): a component of the density is raised to a power near one, and the draws are
reweighted; nothing is fitted again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.combine import combined_terms
from motorfit.inference.fast import smooth_weights
from motorfit.inference.graph import Graph
from motorfit.inference.target import Target

__all__ = ["POWERS", "largest", "prior_parts", "scaled_moves", "trusted_weights"]

Array = npt.NDArray[np.float64]

POWERS = ((0.8, 1.25), (0.9, 1.0 / 0.9), (0.97, 1.0 / 0.97))
"""Pairs of powers, widest first; the widest is used whose weights can be trusted."""

_TRUSTED = 0.7
_LEVEL = 1e-9
_SENSORS = ("gain_", "offset_", "delay_", "lag_", "jump_")


def prior_parts(target: Target, z: Array) -> dict[str, Array]:
    """Log prior of draws (draws, coordinates) in two parts, each (draws,), up to constants.

    "sensors": calibration doubts and delays; "machines": everything else, beliefs on combinations and
    single measured numbers with it.  The change of variables is no belief, and in neither.
    """
    parts = {"sensors": np.zeros(z.shape[0]), "machines": np.zeros(z.shape[0])}
    graph: Graph = target.graph
    for i, c in enumerate(graph.coordinates):
        parts["sensors" if c.name.startswith(_SENSORS) else "machines"] += c.prior.log_density(z[:, i])
    terms, _ = combined_terms(graph, target.values(z))
    parts["machines"] -= 0.5 * np.sum(terms**2, axis=0)
    return parts


def scaled_moves(log_part: Array, parameters: Mapping[str, Array]) -> dict[str, Any]:
    """What raising one part of the density to a lower and a higher power does to parameters.

    Parameters
    ----------
    log_part : (draws,) log of that part, up to a constant
    parameters : name -> (draws,)

    Returns
    -------
    `powers` used, `pareto_k` of the worse weights, and `moves`: name -> `shift_sd`, how far the mean moves
    from the lower to the higher power in posterior standard deviations, and `width_ratio` of the standard
    deviations there.  For a normal prior, weak against normal data, a shift of s means that the prior moved
    the mean by about s / ln(higher/lower) standard deviations in the first place.
    """
    centred = log_part - log_part.mean()
    weights: list[Array] = []
    k, pair = np.inf, POWERS[-1]
    for pair in POWERS:
        smoothed = [trusted_weights((power - 1.0) * centred) for power in pair]
        weights, k = [w for w, _ in smoothed], max(shape for _, shape in smoothed)
        if k < _TRUSTED:
            break
    moves = {}
    for name, values in parameters.items():
        sd = float(values.std())
        if not sd > 0.0:
            continue
        (low, low_sd), (high, high_sd) = (_moments(values, w) for w in weights)
        moves[name] = {
            "shift_sd": round((high - low) / sd, 3),
            "width_ratio": round(high_sd / max(low_sd, 1e-300), 3),
        }
    return {
        "powers": [round(p, 3) for p in pair],
        "pareto_k": round(float(k), 3) if np.isfinite(k) else None,
        "moves": moves,
    }


def trusted_weights(log_weight: Array) -> tuple[Array, float]:
    """Pareto-smoothed weights (draws,), the largest 1, and their k̂; all 1 where all are alike."""
    if np.ptp(log_weight) < _LEVEL:
        return np.ones_like(log_weight), 0.0
    with np.errstate(all="ignore"):  # weights hundreds of orders of magnitude apart have no tail to fit
        try:
            smoothed, k = smooth_weights(log_weight)
        except ValueError:  # draws that are copies of a few have no tail either
            smoothed, k = log_weight, np.inf
    if not (np.isfinite(k) and np.isfinite(smoothed).all()):
        return np.exp(log_weight - log_weight.max()), np.inf
    return np.exp(smoothed - smoothed.max()), k


def _moments(values: Array, weight: Array) -> tuple[float, float]:
    mean = float(np.average(values, weights=weight))
    return mean, float(np.sqrt(np.average((values - mean) ** 2, weights=weight)))


def largest(moves: Mapping[str, Any], size: Callable[[Any], float]) -> list[str]:
    """Names in the order of how far they move, farthest first."""
    return sorted(moves, key=lambda name: -size(moves[name]))
