"""Draws of a campaign's posterior in the model's own coordinates, for questions that refit or look inside."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from threadpoolctl import threadpool_limits

from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun
from motorfit.inference.absence import with_absence
from motorfit.inference.draws import prior_positions
from motorfit.inference.ensemble import ensemble_draws
from motorfit.inference.fast import fast_draws
from motorfit.inference.fit import optimise
from motorfit.inference.graph import Graph, build_graph
from motorfit.inference.swarm import GROUPS
from motorfit.inference.target import Target, build_target

__all__ = ["Positions", "matched", "posterior_positions"]

Array = npt.NDArray[np.float64]

_APART = 1.1
"""R̂ between groups of draws beyond which they are of different places, whatever their weights say."""


@dataclass(frozen=True)
class Positions:
    """Draws of a posterior.

    Attributes
    ----------
    target : the posterior they are of, its noise learned
    z : (draws, coordinates) standardised, equally weighted [-]
    method : "fast", "ensemble", or "prior" where there was nothing to learn from
    sound : whether the diagnostics of that path allow belief
    """

    target: Target
    z: Array
    method: str
    sound: bool

    @property
    def late(self) -> dict[str, float]:
        """Delays and lags found, and how large [s], as `build_graph` takes them."""
        graph = self.target.graph
        found = {}
        for name, i in graph.index.items():
            c = graph.coordinates[i]
            if name.startswith("delay_"):
                found[name] = c.center
            elif name.startswith("lag_"):
                found[name] = math.exp(c.center)
        return found


def posterior_positions(
    campaign: Campaign,
    runs: Sequence[BlockedRun],
    *,
    method: str = "auto",
    seed: int = 0,
    draws: int = 1600,
    progress: Callable[[str, float], None] = lambda stage, share: None,
) -> Positions:
    """Fit reduced runs and keep the coordinates, by the path that a stored fit takes.

    Parameters
    ----------
    campaign : the campaign file
    runs : those of its runs that are fitted, reduced
    method : "fast", "ensemble" or "auto"
    seed : of every random number
    draws : to keep, rounded up to a multiple of sixteen
    progress : told the stage and the share of the work done

    Returns
    -------
    Positions; draws of the prior where there is neither run nor measurement.

    Raises
    ------
    OptimumError : the runs contradict the model or one another
    """
    draws = -(-draws // GROUPS**2) * GROUPS**2
    rng = np.random.default_rng(seed)
    if not runs and not campaign.measurements:
        graph = build_graph(campaign, ())
        return Positions(build_target(graph), prior_positions(graph, rng, draws), "prior", True)
    with threadpool_limits(limits=1):
        progress("searching the optimum", 0.1)
        target, optimum = optimise(campaign, tuple(runs))
        progress("drawing", 0.4)
        fast = fast_draws(target, optimum, rng, draws)
        sound = fast.sound and math.isfinite(fast.ess) and fast.r_hat < _APART
        if method == "fast" or (method == "auto" and fast.sound):
            z = with_absence(target, fast.z.reshape(-1, target.graph.size), fast.log_density.ravel(), rng)
            return Positions(target, z, "fast", sound)
        reference = ensemble_draws(
            target,
            fast,
            rng,
            draws,
            progress=lambda share: progress("reference ensembles", 0.5 + 0.4 * share),
        )
        z = with_absence(
            target, reference.z.reshape(-1, target.graph.size), reference.log_density.ravel(), rng
        )
        return Positions(target, z, "ensemble", bool(reference.converged))


def matched(known: Graph, z: Array, graph: Graph, rng: np.random.Generator) -> Array:
    """Draws of one graph carried into another: by name where both have a coordinate, else from the prior.

    Parameters
    ----------
    known, z : a graph and its draws (draws, coordinates)
    graph : the one wanted, of the same campaign
    rng : for what only the prior tells

    Returns
    -------
    (draws, coordinates of `graph`) [-]
    """
    out = prior_positions(graph, rng, z.shape[0])
    shared = [name for name in graph.index if name in known.index]
    for name in shared:
        here, there = graph.coordinates[graph.index[name]], known.coordinates[known.index[name]]
        # both are centred by the same beliefs; only delays and lags are centred by what the logs showed
        natural = there.center + there.scale * z[:, known.index[name]]
        out[:, graph.index[name]] = (natural - here.center) / here.scale
    return out
