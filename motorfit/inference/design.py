"""How much narrower a posterior would become by one more run: linear about the posterior, averaged over it.

The run's Fisher information, its noise whitened and its slow errors taken out as in a fit, is added to the
precision of the posterior (K. Chaloner, I. Verdinelli, Bayesian experimental design: a review, Stat. Sci. 10
(1995) 273, doi:10.1214/ss/1177009939), at several draws: where the truth lies decides what a run teaches.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from motorfit.bench.reduce import BlockedRun
from motorfit.inference.assemble import Values
from motorfit.inference.graph import build_graph
from motorfit.inference.positions import Positions, matched
from motorfit.inference.slow_error import slow_error
from motorfit.inference.target import build_target, whitening

__all__ = ["gradient_of", "precision_of", "variance_ratio"]

Array = npt.NDArray[np.float64]
Quantity = Callable[[Values], Array]

_STEP = 1e-4


def precision_of(z: Array) -> Array:
    """Inverse covariance of draws (draws, d), with the inverse Wishart's bias taken off."""
    n, d = z.shape
    shrunk: Array = np.linalg.inv(np.cov(z.T)) * max((n - d - 2.0) / (n - 1.0), 0.1)
    return shrunk


def gradient_of(known: Positions, z: Array, quantity: Quantity) -> Array:
    """Derivative (d,) of a quantity, or of its logarithm as given, at a position (d,)."""
    moves = _STEP * np.eye(z.size)
    values = quantity(known.target.values(np.concatenate([z + moves, z - moves])))
    return np.asarray((values[: z.size] - values[z.size :]) / (2.0 * _STEP))


def variance_ratio(
    known: Positions, precision: Array, z: Array, run: BlockedRun, quantity: Quantity,
    rng: np.random.Generator,
) -> float:  # fmt: skip
    """Variance of a quantity with a further run, over that without it, were the truth at a position.

    Parameters
    ----------
    known : draws of the posterior, its noise learned
    precision : of them, see `precision_of`
    z : (d,) position
    run : the further run, reduced, as it would be logged there
    quantity : of natural values, (draws,)
    rng : for what only the prior tells of the run

    Returns
    -------
    At most 1.
    """
    graph = build_graph(known.target.graph.campaign, (run,), known.late)
    target = build_target(graph)
    isd, phi = whitening(target.flat)
    target = target.with_noise(isd, phi, slow_error(target.flat, isd, phi, known.target.slow.size))
    here = matched(known.target.graph, z[None, :], graph, rng)[0]
    for name, i in graph.index.items():
        if name not in known.target.graph.index and name.endswith(f"[{run.run.id}]"):
            here[i] = 0.0  # what belongs to the run alone stands where it is expected
    moves = _STEP * np.eye(here.size)
    with np.errstate(all="ignore"):
        rows = target.residuals(np.concatenate([here + moves, here - moves]))[:, : target.data_rows]
    j = (rows[: here.size] - rows[here.size :]).T / (2.0 * _STEP)
    if not np.isfinite(j).all():
        return 1.0
    size, index = z.size, known.target.graph.index
    fresh = [name for name in graph.index if name not in index]
    total = np.zeros((size + len(fresh), size + len(fresh)))
    total[:size, :size] = precision
    total[size:, size:] = np.eye(len(fresh))
    place = np.array([index[n] if n in index else size + fresh.index(n) for n in graph.index])
    scale = np.array(
        [
            c.scale / known.target.graph.coordinates[index[c.name]].scale if c.name in index else 1.0
            for c in graph.coordinates
        ]
    )
    total[np.ix_(place, place)] += (j / scale).T @ (j / scale)
    g = gradient_of(known, z, quantity)
    now = float(g @ np.linalg.solve(precision, g))
    full = np.concatenate([g, np.zeros(len(fresh))])
    return min(float(full @ np.linalg.solve(total, full)) / now, 1.0) if now > 0.0 else 1.0
