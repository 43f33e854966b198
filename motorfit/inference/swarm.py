"""Draws of the fast path on their way from proposal to posterior.

What several motors share is moved for all of them at once; what is one motor's own is moved for every motor
side by side, and accepted or not by that motor alone: given what is shared the others know nothing of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.inference.agreement import largest_r_hat
from motorfit.inference.proposal import Proposal
from motorfit.inference.target import Target

__all__ = ["GROUPS", "Swarm", "Weighed", "effective", "least_r_hat", "weighed"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

GROUPS = 4
"""Batches that never exchange draws, so that comparing them means something."""

_MOVES = 6
_LAST_MOVES = 6
_WORK = 1.5e8
_R_HAT = 1.012
"""Between groups: when the last moves may end."""

_STAGES = 40
_STILL = 3.0
"""Change of the mean log-weight over some moves, in standard errors, that counts as none."""

_WANTED = 0.35
"""Share of moves accepted that steps are adapted to."""


@dataclass(frozen=True)
class Weighed:
    """Draws of a proposal: innovations e and positions z (draws, d).

    Block by block, (draws, blocks): `densities` of the target, and `log_weights`, those over the proposal's;
    logarithms up to a constant.
    """

    e: Array
    z: Array
    densities: Array
    log_weights: Array

    @property
    def log_weight(self) -> Array:
        """(draws,) of all blocks together."""
        return np.asarray(self.log_weights.sum(axis=1))


def weighed(target: Target, proposal: Proposal, normal: Array) -> Weighed:
    """Draws from standard normals (draws, `proposal.normals`)."""
    drawn = proposal.draw(normal)
    densities = target.log_densities(drawn.z)
    with np.errstate(invalid="ignore"):
        weights = densities - drawn.parts
    return Weighed(drawn.e, drawn.z, densities, np.where(np.isfinite(weights), weights, -np.inf))


def effective(log_weight: Array) -> float:
    """Effective sample size of unnormalised log weights; 0 where none is possible."""
    top = float(np.max(log_weight))
    if not math.isfinite(top):
        return 0.0
    w = np.exp(log_weight - top)
    return float(w.sum() ** 2 / np.sum(w**2))


def least_r_hat(draws: int) -> float:
    """R̂ between groups up to which so few draws in all say nothing against them [1]."""
    return math.sqrt(1.0 + 8.0 * GROUPS / draws)


class Swarm:
    """Draws that are resampled by their weights, and moved.

    Moves leave the proposal times its weights to some power invariant.
    """

    def __init__(self, target: Target, proposal: Proposal, rng: np.random.Generator, draws: int) -> None:
        self.target, self.proposal, self.rng = target, proposal, rng
        self.normal = rng.standard_normal((draws, proposal.normals))
        first = weighed(target, proposal, self.normal)
        self.z, self.densities, self.log_weights = first.z, first.densities, first.log_weights
        kinds = 1 if proposal.blocks == 1 else 2  # what is shared, and what is not
        self.steps = np.full(kinds, 0.6)
        self.accepted = np.ones(kinds)
        self.moved = False
        self.evaluations = draws

    @property
    def log_weight(self) -> Array:
        """(draws,) log of target over proposal."""
        return np.asarray(self.log_weights.sum(axis=1))

    @property
    def acceptance(self) -> float:
        """Share of moves accepted at the end, of the kind with the fewest."""
        return float(self.accepted.min())

    def resample(self, log_weight: Array, draws: int) -> None:
        """Systematic resampling within each group, `draws` in all."""
        size, each = log_weight.size // GROUPS, draws // GROUPS
        parts = log_weight.reshape(GROUPS, size)
        keep = np.concatenate([g * size + _systematic(p, each, self.rng) for g, p in enumerate(parts)])
        self.normal, self.z = self.normal[keep], self.z[keep]
        self.log_weights, self.densities = self.log_weights[keep], self.densities[keep]

    def move(self, beta: float) -> None:
        """One move of every draw that leaves proposal × weight^beta invariant; steps follow the acceptance.

        Of several motors, one of what they share and one of what they do not.
        """
        for own in range(self.steps.size):
            self._move(beta, bool(own))

    def _move(self, beta: float, own: bool) -> None:
        n, step = self.normal.shape[0], self.steps[int(own)]
        with_block = self.proposal.normals_of
        moving = (with_block > 0) == own
        normal = self.normal.copy()
        normal[:, moving] = math.sqrt(1.0 - step**2) * self.normal[:, moving]
        normal[:, moving] += step * self.rng.standard_normal((n, int(np.count_nonzero(moving))))
        there = weighed(self.target, self.proposal, normal)
        with np.errstate(invalid="ignore"):
            gain = beta * (there.log_weights - self.log_weights)
            if own:  # each motor by itself; what is shared has not moved
                accept = np.log(self.rng.random((n, gain.shape[1] - 1))) < gain[:, 1:]
                accept = np.concatenate([np.zeros((n, 1), dtype=bool), accept], axis=1)
            else:
                accept = np.log(self.rng.random((n, 1))) < gain.sum(axis=1, keepdims=True)
                accept = np.repeat(accept, gain.shape[1], axis=1)
        at = accept[:, with_block] & moving
        self.normal[at] = normal[at]
        place = accept[:, self.target.graph.blocks.of_coordinate]
        self.z[place] = there.z[place]
        self.log_weights[accept], self.densities[accept] = there.log_weights[accept], there.densities[accept]
        share = float(accept[:, int(own) :].mean())
        self.accepted[int(own)] = share
        self.evaluations += n
        self.steps[int(own)] = float(np.clip(step * math.exp(share - _WANTED), 0.05, 1.0))

    def anneal(self, draws: int) -> int:
        """Apply the weights in stages, each small enough to keep half the draws; in how many."""
        beta, stages = 0.0, 0
        while beta < 1.0 and stages < _STAGES:
            gain = 1.0 - beta
            log_weight = self.log_weight
            while effective(gain * log_weight) < 0.5 * log_weight.size and gain > 1e-3:
                gain *= 0.8
            beta += gain
            stages += 1
            self.resample(gain * log_weight, draws)
            travelled = 0.0
            for _ in range(12):
                self.move(beta)
                travelled += self.acceptance * float(self.steps.min()) ** 2
                if travelled > 0.35:
                    break
        self.settle()
        return max(stages, 2)

    def mingle(self, draws: int) -> None:
        """Let every motor come to its posterior given what is shared, then move both.

        Weights of many motors multiply, and say less and less of what is shared: resampled by them it would
        be held too narrowly, since where it lies far out few draws of all motors at once are good ones.
        """
        self.resample(np.zeros(self.log_weights.shape[0]), draws)
        for _ in range(_MOVES):
            self._move(1.0, own=True)
        self.settle()

    def settle(self) -> None:
        """Moves until the groups agree and weights no longer rise.

        Many for a small problem, what a person waits for in a large one.
        """
        size = _MOVES * self.z.shape[0] * self.target.flat.size * self.steps.size
        before = -math.inf
        for _ in range(int(np.clip(_WORK / size, _LAST_MOVES, 200))):
            for _ in range(_MOVES):
                self.move(1.0)
            log_weight = self.log_weight
            now = float(np.mean(log_weight))
            still = abs(now - before) < _STILL * float(np.std(log_weight)) / math.sqrt(log_weight.size)
            before = now
            if still and self.agree():
                break
        self.moved = True

    def snapshot(self) -> tuple[Array, Array, Array]:
        """Copies of positions, normals and log density, (GROUPS, draws, ...)."""
        parts = (self.z, self.normal, self.densities.sum(axis=1, keepdims=True))
        first, second, third = (part.reshape(GROUPS, -1, part.shape[1]).copy() for part in parts)
        return first, second, third

    def agree(self) -> bool:
        """Whether the groups differ no more than independent draws of half their number would."""
        return self.r_hat() < max(_R_HAT, least_r_hat(self.z.shape[0]))

    def r_hat(self) -> float:
        """Largest R̂ between groups over coordinates [1]."""
        return largest_r_hat(self.z.reshape(GROUPS, -1, self.z.shape[1]))


def _systematic(log_weight: Array, draws: int, rng: np.random.Generator) -> Integers:
    """Systematic resampling, then a shuffle, so that neighbouring draws are not copies."""
    weight = np.exp(log_weight - np.max(log_weight))
    points = (rng.random() + np.arange(draws)) / draws * weight.sum()
    keep = np.searchsorted(np.cumsum(weight), points).clip(0, weight.size - 1)
    return rng.permutation(keep)
