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

from motorfit.inference.agreement import largest_r_hat
from motorfit.inference.optimum import Optimum
from motorfit.inference.proposal import PROBE_ROUNDS, Drawn, Proposal, bend, probes_for
from motorfit.inference.target import Target

__all__ = ["GROUPS", "FastDraws", "fast_draws", "k_threshold", "smooth_weights"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

GROUPS = 4
"""Batches that never exchange draws, so that comparing them means something."""

_FEWEST_EFFECTIVE = 15.0
_PLENTY = 0.1
"""Share of effective draws from which copies are rare enough to need no moves apart."""

_MOVES = 6
_LAST_MOVES = 6
_WORK = 1.5e8
_WALKERS = 900
_R_HAT, _R_HAT_SOUND, _R_HAT_COPIES = 1.012, 1.03, 1.1
"""Between groups: when the last moves may end, and what is still believed of moved and of resampled draws."""
_STAGES = 40
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
        return self.acceptance > 0.08 and self.r_hat < _R_HAT_SOUND


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


def effective(log_weight: Array) -> float:
    """Effective sample size of unnormalised log weights; 0 where none is possible."""
    top = float(np.max(log_weight))
    if not math.isfinite(top):
        return 0.0
    w = np.exp(log_weight - top)
    return float(w.sum() ** 2 / np.sum(w**2))


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
        pilot, lw, _ = _batch(target, proposal, rng.standard_normal((_PILOT, proposal.normals)))
        if effective(lw) < _WORSE * best:  # the last correction did harm
            proposal = before
            break
        best, before = effective(lw), proposal
        if turn < _PILOTS:
            proposal = proposal.corrected(pilot.e, lw)
    most = next(s for s in (4, 2, 1) if s == 1 or draws // s >= _WALKERS)
    swarm = _Swarm(target, proposal, rng, draws)
    swarm.evaluations += probes_for(target.graph.size) * PROBE_ROUNDS + _PILOT * (_PILOTS + 1)
    smoothed, k = smooth_weights(swarm.log_weight)
    ess = effective(smoothed)
    stages, stations = 1, 1
    if k > k_threshold(draws) or ess < _PLENTY * draws:
        # what has to be walked is walked by fewer draws for longer, kept at several stations of their way
        stations = most
        if ess < _FEWEST_EFFECTIVE:
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


def _batch(target: Target, proposal: Proposal, normal: Array) -> tuple[Drawn, Array, Array]:
    drawn = proposal.draw(normal)
    density = target.log_density(drawn.z)
    with np.errstate(invalid="ignore"):
        log_weight = density - drawn.log_q
    return drawn, np.where(np.isfinite(log_weight), log_weight, -np.inf), density


class _Swarm:
    """Draws on their way from proposal to posterior."""

    def __init__(self, target: Target, proposal: Proposal, rng: np.random.Generator, draws: int) -> None:
        self.target, self.proposal, self.rng = target, proposal, rng
        self.normal = rng.standard_normal((draws, proposal.normals))
        drawn, self.log_weight, self.log_density = _batch(target, proposal, self.normal)
        self.z = drawn.z
        self.step = 0.6
        self.acceptance = 1.0
        self.moved = False
        self.evaluations = draws

    def resample(self, log_weight: Array, draws: int) -> None:
        """Systematic resampling within each group, `draws` in all."""
        size, each = log_weight.size // GROUPS, draws // GROUPS
        parts = log_weight.reshape(GROUPS, size)
        keep = np.concatenate([g * size + _systematic(p, each, self.rng) for g, p in enumerate(parts)])
        self.normal, self.z = self.normal[keep], self.z[keep]
        self.log_weight, self.log_density = self.log_weight[keep], self.log_density[keep]

    def move(self, beta: float) -> None:
        """One move of every draw that leaves proposal × weight^beta invariant; the step follows the
        acceptance."""
        n = self.log_weight.size
        kept = math.sqrt(1.0 - self.step**2)
        normal = kept * self.normal + self.step * self.rng.standard_normal(self.normal.shape)
        drawn, log_weight, density = _batch(self.target, self.proposal, normal)
        with np.errstate(invalid="ignore"):
            accept = np.log(self.rng.random(n)) < beta * (log_weight - self.log_weight)
        self.normal[accept], self.z[accept] = normal[accept], drawn.z[accept]
        self.log_weight[accept], self.log_density[accept] = log_weight[accept], density[accept]
        self.acceptance = float(accept.mean())
        self.evaluations += n
        self.step = float(np.clip(self.step * math.exp(self.acceptance - 0.35), 0.05, 1.0))

    def anneal(self, draws: int) -> int:
        """Apply the weights in stages small enough to keep half the draws, with moves between."""
        beta, stages = 0.0, 0
        while beta < 1.0 and stages < _STAGES:
            gain = 1.0 - beta
            while effective(gain * self.log_weight) < 0.5 * self.log_weight.size and gain > 1e-3:
                gain *= 0.8
            beta += gain
            stages += 1
            self.resample(gain * self.log_weight, draws)
            travelled = 0.0
            for _ in range(12):
                self.move(beta)
                travelled += self.acceptance * self.step**2
                if travelled > 0.35:
                    break
        self.settle()
        return max(stages, 2)

    def settle(self) -> None:
        """Moves until the groups agree: many for a small problem, what a person waits for in a large one."""
        size = _MOVES * self.z.shape[0] * self.target.flat.size
        for _ in range(int(np.clip(_WORK / size, _LAST_MOVES, 200))):
            for _ in range(_MOVES):
                self.move(1.0)
            if self.agree():
                break
        self.moved = True

    def snapshot(self) -> tuple[Array, Array, Array]:
        """Copies of positions, normals and log density, (GROUPS, draws, ...)."""
        parts = (self.z, self.normal, self.log_density[:, None])
        first, second, third = (part.reshape(GROUPS, -1, part.shape[1]).copy() for part in parts)
        return first, second, third

    def agree(self) -> bool:
        """Whether the groups differ no more than independent draws of half their number would."""
        return bool(self.r_hat() ** 2 - 1.0 < max(_R_HAT**2 - 1.0, 8.0 * GROUPS / self.z.shape[0]))

    def r_hat(self) -> float:
        """Largest R̂ between groups over coordinates [1]."""
        return largest_r_hat(self.z.reshape(GROUPS, -1, self.z.shape[1]))


def _systematic(log_weight: Array, draws: int, rng: np.random.Generator) -> Integers:
    """Systematic resampling, then a shuffle, so that neighbouring draws are not copies."""
    weight = np.exp(log_weight - np.max(log_weight))
    points = (rng.random() + np.arange(draws)) / draws * weight.sum()
    keep = np.searchsorted(np.cumsum(weight), points).clip(0, weight.size - 1)
    return rng.permutation(keep)
