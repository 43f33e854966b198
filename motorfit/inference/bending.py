"""How the proposal of the fast path is laid along the ridges of a posterior."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from motorfit.inference.optimum import Optimum
from motorfit.inference.priors import HalfNormal
from motorfit.inference.proposal import Proposal, features
from motorfit.inference.target import Target

__all__ = ["PROBE_ROUNDS", "bend", "probes_for"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_BENDING = 0.05
"""Displacement, in standard deviations of the posterior, below which a monomial is not worth carrying."""

PROBE_ROUNDS = 2
"""Batches of scattered points from which the bending is learned."""

_MOST = 150
"""Monomials added at a time, for each motor."""


def bend(
    target: Target,
    optimum: Optimum,
    rng: np.random.Generator,
    *,
    rounds: int = PROBE_ROUNDS,
    probes: int | None = None,
) -> Proposal:
    """Lay a proposal along the posterior's ridges.

    Parameters
    ----------
    target : the posterior
    optimum : its Laplace approximation
    rng : random generator
    rounds, probes : batches of scattered points from which the bending is learned, and their size; left out,
        `probes_for` the coordinates

    Returns
    -------
    Proposal.  ν = 100: in 70 dimensions a low ν would spread the radius so far that most draws are wasted.
    """
    priors = [c.prior for c in target.graph.coordinates]
    top = np.array([p.top if isinstance(p, HalfNormal) else np.nan for p in priors])
    owner = target.graph.blocks.of_coordinate
    order, factor = _ordered(optimum.factor @ optimum.factor.T, owner, ~np.isnan(top))
    block = owner[order]
    # what one motor says of another is said through what they share
    factor[(block[:, None] != block[None, :]) & (block[None, :] > 0)] = 0.0
    d = optimum.z.size
    axes = np.zeros((d, d))
    axes[order] = factor  # column j: direction j in z
    unit = optimum.jacobian @ axes  # orthonormal columns
    # residuals where the quadratic has its minimum, by the same quadratic: the point itself may be out of
    # bounds
    home = np.linalg.solve(factor, (optimum.z - optimum.centre)[order])
    middle = optimum.residuals - unit @ home
    proposal = Proposal(
        optimum.centre, factor, order, block, top[order], np.zeros((0, 3), dtype=np.int64), np.zeros((0, d)),
        np.zeros(d), np.ones(d), 100.0,
    )  # fmt: skip
    for _ in range(rounds):
        proposal = _bent_once(proposal, unit, middle, target, rng, probes or probes_for(d))
    return proposal


def probes_for(coordinates: int) -> int:
    """Points that show the bending of so many coordinates: with more of them k̂ is no better."""
    return max(400, 10 * coordinates)


def _ordered(cov: Array, block: Integers, bounded: Flags) -> tuple[Integers, Array]:
    """Order of coordinates, and the Cholesky factor of a covariance in it.

    Block by block, in each the bounded ones first and the rest pivoted, widest conditional first.
    """
    order: list[int] = []
    left = cov.copy()

    def take(i: int) -> None:
        left[:] -= np.outer(left[:, i], left[i]) / left[i, i]
        order.append(i)

    for b in range(int(block.max()) + 1):
        for i in np.flatnonzero((block == b) & bounded):
            take(int(i))
        rest = np.flatnonzero((block == b) & ~bounded).tolist()
        while rest:
            pick = max(rest, key=lambda i: left[i, i])
            rest.remove(pick)
            take(pick)
    index = np.array(order, dtype=np.int64)
    return index, np.asarray(np.linalg.cholesky(cov[np.ix_(index, index)]), dtype=np.float64)


def _bent_once(
    proposal: Proposal, unit: Array, middle: Array, target: Target, rng: np.random.Generator, probes: int
) -> Proposal:
    """Learn what still pushes draws off the ridges, from a batch of them."""
    from scipy.linalg import solve_triangular

    drawn = proposal.draw(rng.standard_normal((probes, proposal.normals)))
    rows = target.residuals(drawn.z)
    ok = np.isfinite(rows).all(axis=1)
    e = drawn.e[ok]
    off = rows[ok] @ unit - middle @ unit - e
    far = np.sum(off**2, axis=1)
    w = 1.0 / (1.0 + far / np.median(far))
    monomials = _screen(proposal, e, off, w)
    x = features(e, monomials)
    d = e.shape[1]
    curvature = np.zeros((monomials.shape[0], d))
    curvature[: proposal.curvature.shape[0]] = proposal.curvature
    bent = replace(proposal, monomials=monomials, curvature=curvature)
    for b in range(bent.blocks):
        known = np.flatnonzero((bent.block_of_monomial == 0) | (bent.block_of_monomial == b))
        # each direction follows the monomials of those before it: in their order, leading parts of one factor
        known = known[np.argsort(monomials[known].max(axis=1, initial=-1), kind="stable")]
        last = monomials[known].max(axis=1, initial=-1)
        part = x[:, known]
        gram = (part * w[:, None]).T @ part
        gram += np.diag(1e-3 * np.diag(gram) + 1e-12)
        lower = np.linalg.cholesky(gram)
        half = solve_triangular(lower, (part * w[:, None]).T @ off, lower=True)
        at = np.flatnonzero((bent.block == b) & ~bent.bounded)
        i, stop = (int(at[0]), int(at[-1]) + 1) if at.size else (0, 0)
        while i < stop:
            m = int(np.searchsorted(last, i))
            end = stop if m == last.size else min(int(last[m]) + 1, stop)
            if m:
                curvature[known[:m], i:end] -= solve_triangular(
                    lower[:m, :m], half[:m, i:end], lower=True, trans="T"
                )
            i = end
    return bent


def _screen(proposal: Proposal, e: Array, off: Array, w: Array) -> Integers:
    """The monomials used so far and those that the displacement follows most; a square brings its cube."""
    d = e.shape[1]
    a, b = np.tril_indices(d)
    first, second = proposal.block[a], proposal.block[b]
    together = (first == second) | (second == 0)  # no product of two motors
    a, b, first = a[together], b[together], first[together]
    product = e[:, a] * e[:, b]
    product /= np.sqrt(np.mean(product**2, axis=0)) + 1e-12
    pull = np.abs((product * w[:, None]).T @ off) / w.sum()
    # a monomial can only move free directions after its own, of its block or of those that follow it
    after = (np.arange(d)[None, :] > a[:, None]) & ~proposal.bounded[None, :]
    pull[~after | ((first[:, None] > 0) & (proposal.block[None, :] != first[:, None]))] = 0.0
    score = np.sqrt(np.sum(pull**2, axis=1))
    noise = np.sqrt(np.sum(off**2 * w[:, None]) / w.sum() / e.shape[0])
    strong = [
        k
        for k in np.argsort(-score)[: _MOST * max(1, proposal.blocks - 1)]
        if score[k] > max(_BENDING, 1.5 * noise)
    ]
    found = [(int(a[k]), int(b[k]), -1) for k in strong]
    found += [(i, i, i) for i, j, _ in found if i == j]
    known = [tuple(m) for m in proposal.monomials.tolist()]
    return np.array(known + [m for m in found if m not in set(known)], dtype=np.int64).reshape(-1, 3)
