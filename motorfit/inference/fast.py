"""The fast path: draws from the bent proposal, importance-resampled with Pareto smoothing, then moved.

The Pareto shape k̂ of the weights says whether they can be trusted (A. Vehtari, D. Simpson, A. Gelman, Y.
Yao, J. Gabry, Pareto smoothed importance sampling, JMLR 25 (2024) 72).  Where they cannot, the weights are
applied in stages, with moves between them (P. Del Moral, A. Doucet, A. Jasra, Sequential Monte Carlo
samplers, J. R. Stat. Soc. B 68 (2006) 411).  The moves leave the proposal invariant and are accepted by the
ratio of weights (S. L. Cotter, G. O. Roberts, A. M. Stuart, D. White, MCMC methods for functions, Stat. Sci.
28 (2013) 424).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.bending import PROBE_ROUNDS, bend, probes_for
from motorfit.inference.optimum import Optimum
from motorfit.inference.proposal import Proposal
from motorfit.inference.swarm import Swarm, effective, least_r_hat, weighed
from motorfit.inference.target import Target

__all__ = ["FastDraws", "fast_draws", "k_threshold", "smooth_weights"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

_FEWEST_EFFECTIVE = 15.0
_PLENTY = 0.1
"""Share of effective draws from which copies are rare enough to need no moves apart."""

_WALKERS = 900
_R_HAT_SOUND, _R_HAT_COPIES = 1.03, 1.1
"""Between groups: what is still believed of moved and of resampled draws."""
_PILOT, _PILOTS = 400, 2
_WORSE = 0.3
"""Share of the effective draws before it from which a correction is taken back."""


@dataclass(frozen=True)
class FastDraws:
    """Draws of the fast path.

    Attributes
    ----------
    z : (GROUPS, draws, coordinates) equally weighted
    normal : (GROUPS, draws, normals) the standard normals of `proposal` behind them
    log_density : (GROUPS, draws) of them, up to a constant
    pareto_k : k̂ of the importance weights over the whole step from proposal to posterior
    ess : effective sample size of those weights
    stages : 1 for plain importance resampling, else in how many stages the weights were applied
    acceptance : share of moves accepted at the end
    r_hat : largest R̂ between groups over coordinates
    moved : whether draws were moved on after resampling
    stations : of the way of moved draws that are kept, one after another along the draws of a group
    evaluations : of the model
    proposal : what the draws came from
    """

    z: Array
    normal: Array
    log_density: Array
    pareto_k: float
    ess: float
    stages: int
    acceptance: float
    r_hat: float
    moved: bool
    stations: int
    evaluations: int
    proposal: Proposal

    @property
    def sound(self) -> bool:
        """Whether k̂ is below the threshold, or the staged path kept moving and its groups agree."""
        trusted = self.pareto_k < k_threshold(self.z.shape[0] * self.z.shape[1])
        if not (math.isfinite(self.ess) and math.isfinite(self.r_hat)):
            return False
        if self.stages == 1 and not self.moved:
            return trusted and self.r_hat < _R_HAT_COPIES
        most = max(_R_HAT_SOUND, least_r_hat(self.z.shape[0] * self.z.shape[1]))
        return self.acceptance > 0.08 and self.r_hat < most


def k_threshold(draws: int) -> float:
    """Largest k̂ that is trusted: min(1 - 1/log10 S, 0.7)."""
    return min(1.0 - 1.0 / math.log10(draws), 0.7)


def smooth_weights(log_weight: Array) -> tuple[Array, float]:
    """Pareto-smoothed, normalised log weights (draws,) and k̂."""
    from arviz_stats.base import array_stats  # type: ignore[attr-defined]

    if not np.isfinite(log_weight).any():
        return np.full(log_weight.size, -math.log(log_weight.size)), math.inf
    lowest = float(log_weight[np.isfinite(log_weight)].min())
    filled = np.where(np.isfinite(log_weight), log_weight, lowest - 50.0)
    stats: Any = array_stats  # untyped
    smoothed, k = stats.psislw(-filled)  # its argument is a log likelihood, the weight its inverse
    return np.asarray(smoothed, dtype=np.float64), float(k)


def fast_draws(target: Target, optimum: Optimum, rng: np.random.Generator, draws: int) -> FastDraws:
    """Draw from the posterior.

    Parameters
    ----------
    target : the posterior
    optimum : its Laplace approximation
    rng : random generator
    draws : how many draws are wanted, a multiple of GROUPS

    Returns
    -------
    FastDraws; look at `sound` before use.
    """
    proposal = bend(target, optimum, rng)
    best, before = 0.0, proposal
    for turn in range(_PILOTS + 1):
        pilot = weighed(target, proposal, rng.standard_normal((_PILOT, proposal.normals)))
        if effective(pilot.log_weight) < _WORSE * best:  # the last correction did harm
            proposal = before
            break
        best, before = effective(pilot.log_weight), proposal
        if turn < _PILOTS:
            proposal = proposal.corrected(pilot.e, pilot.log_weights)
    most = next(s for s in (4, 2, 1) if s == 1 or draws // s >= _WALKERS)
    swarm = Swarm(target, proposal, rng, draws)
    swarm.evaluations += probes_for(target.graph.size) * PROBE_ROUNDS + _PILOT * (_PILOTS + 1)
    smoothed, k = smooth_weights(swarm.log_weight)
    ess = effective(smoothed)
    stages, stations = 1, 1
    if k > k_threshold(draws) or ess < _PLENTY * draws:
        # what has to be walked is walked by fewer draws for longer, kept at several stations of their way
        stations = most
        if proposal.blocks > 1:
            swarm.mingle(draws // stations)
        elif ess < _FEWEST_EFFECTIVE:
            stages = swarm.anneal(draws // stations)
        else:
            swarm.resample(smoothed, draws // stations)
            swarm.settle()
    else:
        swarm.resample(smoothed, draws)
    kept = [swarm.snapshot()]
    while len(kept) < stations:
        swarm.move(1.0)
        swarm.move(1.0)
        kept.append(swarm.snapshot())
    z, normal, density = (np.concatenate(parts, axis=1) for parts in zip(*kept, strict=True))
    return FastDraws(
        z, normal, density[..., 0], k, ess, stages, swarm.acceptance, swarm.r_hat(), swarm.moved,
        stations, swarm.evaluations, proposal,
    )  # fmt: skip
