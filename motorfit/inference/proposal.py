"""The proposal of the fast path: a Gaussian bent along the posterior's ridges and cut at its bounds.

The posterior of a bench is a thin curved sheet: products with gains are known to 0.005 %, each factor to its
gain's 1 %, so a straight Gaussian leaves the sheet after half a standard deviation.  Two exact devices keep
it there.

- A triangular map with unit determinant adds to every standardised direction polynomials of the wider
  directions before it, learned from Gauss-Newton steps at scattered points (the geodesic acceleration of
  M. K. Transtrum and J. P. Sethna, arXiv:1201.5885, at finite steps and as a change of variables).
- Effects that may be absent stand first and are drawn from their truncated conditional normals, whose
  density is known (V. A. Hajivassiliou, D. L. McFadden, Econometrica 66 (1998) 863, section 4).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from motorfit.inference.optimum import Optimum
from motorfit.inference.priors import HalfNormal
from motorfit.inference.target import Target

__all__ = ["PROBE_ROUNDS", "Drawn", "Proposal", "bend", "probes_for"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

_BENDING = 0.05
"""Displacement, in standard deviations of the posterior, below which a monomial is not worth carrying."""

PROBE_ROUNDS = 2
"""Batches of scattered points from which the bending is learned."""

_MOST = 150
"""Monomials added at a time."""

_PRECISIONS = (0.3, 4.0)
"""Of a corrected direction, relative to what it was."""

_FARTHEST = 1.5
"""A correction moves the centre no farther, in widths: a parabola fitted here says little about there."""


@dataclass(frozen=True)
class Drawn:
    """A batch from the proposal: innovations e and positions z, (draws, d); log density up to a constant
    (draws,)."""

    e: Array
    z: Array
    log_q: Array


@dataclass(frozen=True)
class Proposal:
    """Draws z from standardised innovations e, direction by direction.

    Attributes
    ----------
    centre : (d,) position of e = 0 [-]
    factor : (d, d) lower triangular in `order`: z[order] = centre[order] + factor e'
    order : (d,) the bounded coordinates first, then from wide to narrow
    top : (bounded,) upper bound of each bounded coordinate; the lower one is 0
    monomials : (m, 3) directions that are multiplied, -1 for none
    curvature : (m, d) what each monomial adds to the directions after its own
    mean : (d,) of the innovations, learned from weighted draws
    spread : (bounded,) scale of the bounded innovations, likewise
    shape : (d - bounded, d) rows of the unbounded innovations' affine map, likewise
    nu : degrees of freedom of the Student-t of the unbounded innovations
    """

    centre: Array
    factor: Array
    order: Integers
    top: Array
    monomials: Integers
    curvature: Array
    mean: Array
    spread: Array
    shape: Array
    nu: float

    @property
    def bounded(self) -> int:
        """Number of bounded coordinates."""
        return int(self.top.size)

    @property
    def normals(self) -> int:
        """Standard normals that make one draw."""
        return int(self.centre.size) + 1

    def place(self, e: Array) -> Array:
        """Positions z of innovations: (draws, d) to (draws, d)."""
        moved = e + _features(e, self.monomials) @ self.curvature
        z = np.empty_like(e)
        z[:, self.order] = self.centre[self.order] + moved @ self.factor.T
        return z

    def draw(self, normal: Array) -> Drawn:
        """Draws from standard normals (draws, `normals`): the last one sets the tail of the Student-t."""
        from scipy.special import gammaincinv, ndtr

        nb, d = self.bounded, self.centre.size
        e = np.empty((normal.shape[0], d))
        log_q = np.zeros(normal.shape[0])
        for i in range(nb):
            at = self.centre[self.order[i]] + e[:, :i] @ self.factor[i, :i] + self.factor[i, i] * self.mean[i]
            scale = self.factor[i, i] * self.spread[i]
            unit, log_p = _truncated(normal[:, i], -at / scale, (self.top[i] - at) / scale)
            e[:, i] = self.mean[i] + self.spread[i] * unit
            log_q += log_p
        mix = 2.0 * gammaincinv(0.5 * self.nu, ndtr(normal[:, d])) / self.nu
        free = normal[:, nb:d]
        log_q -= 0.5 * (self.nu + d - nb) * np.log1p(np.sum(free**2, axis=1) / mix / self.nu)
        before = np.concatenate([e[:, :nb] - self.mean[:nb], free / np.sqrt(mix)[:, None]], axis=1)
        e[:, nb:] = self.mean[nb:] + before @ self.shape.T
        return Drawn(e, self.place(e), log_q)

    def corrected(self, e: Array, log_weight: Array) -> Proposal:
        """The proposal with its centre and widths moved to where the log-weights are level.

        Parameters
        ----------
        e : (draws, d) innovations;  log_weight : (draws,) of target over proposal, any constant

        A parabola along every direction is fitted to the log-weights. Every draw tells of it, not only the
        few that carry weight, so far fewer are needed than for weighted moments. No width grows more than
        1.8 times or shrinks to less than half.
        """
        nb = self.bounded
        slope, curve = _parabolas(e - self.mean, log_weight)
        free = np.linalg.inv(self.shape[:, nb:] @ self.shape[:, nb:].T)
        cross = -free @ self.shape[:, :nb]
        precision = np.block(
            [[np.diag(self.spread**-2.0) - self.shape[:, :nb].T @ cross, cross.T], [cross, free]]
        )
        factor = np.linalg.cholesky(precision)
        inner = np.linalg.solve(factor, np.linalg.solve(factor, np.diag(-2.0 * curve)).T)
        values, axes = np.linalg.eigh(0.5 * (inner + inner.T))
        root = factor @ axes * np.sqrt(np.clip(1.0 + values, *_PRECISIONS))
        precision = root @ root.T
        step = np.linalg.solve(precision, slope)
        mean = self.mean + step / max(1.0, float(np.abs(step).max()) / _FARTHEST)
        along = -np.linalg.solve(precision[nb:, nb:], precision[nb:, :nb])
        own = precision[:nb, :nb] + precision[:nb, nb:] @ along
        wide = np.linalg.cholesky(np.linalg.inv(precision[nb:, nb:]))
        return replace(
            self, mean=mean, spread=np.diag(own) ** -0.5, shape=np.concatenate([along, wide], axis=1)
        )


def _parabolas(x: Array, log_weight: Array) -> tuple[Array, Array]:
    """Slopes and curvatures (d,) of log-weights along each of the directions x (draws, d), jointly fitted.

    Draws far below the median say how bad bad places are, which is of no interest: they pull little.
    """
    ok = np.isfinite(log_weight)
    x, lw = x[ok], log_weight[ok]
    middle = float(np.median(lw))
    spread = 1.5 * float(np.median(np.abs(lw - middle))) + 1e-9
    trust = 1.0 / (1.0 + (np.maximum(middle - lw, 0.0) / spread) ** 2)
    columns = np.concatenate([np.ones((x.shape[0], 1)), x, x * x], axis=1)
    gram = (columns * trust[:, None]).T @ columns
    # where a bound leaves one side only, slope and curvature are all but one and could run off together
    gram += np.diag(1e-3 * np.diag(gram) + 1e-12)
    beta = np.linalg.solve(gram, (columns * trust[:, None]).T @ (lw - middle))
    return beta[1 : x.shape[1] + 1], beta[x.shape[1] + 1 :]


def _truncated(normal: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """A standard normal cut to low..high, from an uncut one, and its log density up to a constant."""
    from scipy.special import log_ndtr, ndtr, ndtri

    flip = low > 0.0  # work in the tail where probabilities keep their digits
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    pa, pb = ndtr(a), ndtr(b)
    value = np.clip(ndtri(np.clip(pa + ndtr(normal) * (pb - pa), 1e-300, 1.0 - 1e-16)), a, b)
    log_mass = log_ndtr(b) + np.log1p(-np.exp(np.minimum(log_ndtr(a) - log_ndtr(b), -1e-12)))
    return np.where(flip, -value, value), -0.5 * value**2 - log_mass


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
    bounded = [i for i, p in enumerate(priors) if isinstance(p, HalfNormal)]
    top = np.array([p.top for p in priors if isinstance(p, HalfNormal)])
    order, factor = _ordered(optimum.factor @ optimum.factor.T, bounded)
    d, nb = optimum.z.size, len(bounded)
    axes = np.zeros((d, d))
    axes[order] = factor  # column j: direction j in z
    unit = optimum.jacobian @ axes  # orthonormal columns
    # residuals where the quadratic has its minimum, by the same quadratic: the point itself may be out of
    # bounds
    home = np.linalg.solve(factor, (optimum.z - optimum.centre)[order])
    middle = optimum.residuals - unit @ home
    proposal = Proposal(
        optimum.centre, factor, order, top, np.zeros((0, 3), dtype=np.int64), np.zeros((0, d)), np.zeros(d),
        np.ones(nb), np.eye(d)[nb:], 100.0,
    )  # fmt: skip
    for _ in range(rounds):
        proposal = _bent_once(proposal, unit, middle, target, rng, probes or probes_for(d))
    return proposal


def probes_for(coordinates: int) -> int:
    """Points that show the bending of so many coordinates: with more of them k̂ is no better."""
    return max(400, 10 * coordinates)


def _ordered(cov: Array, first: list[int]) -> tuple[Integers, Array]:
    """Cholesky factor with the given coordinates first and the rest pivoted, widest conditional first."""
    order = list(first)
    rest = [i for i in range(cov.shape[0]) if i not in set(first)]
    left = cov.copy()
    for i in order:
        left -= np.outer(left[:, i], left[i]) / left[i, i]
    while rest:
        pick = max(rest, key=lambda i: left[i, i])
        left -= np.outer(left[:, pick], left[pick]) / left[pick, pick]
        order.append(pick)
        rest.remove(pick)
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
    last = monomials.max(axis=1, initial=-1)
    x = _features(e, monomials)
    d = e.shape[1]
    curvature = np.zeros((monomials.shape[0], d))
    curvature[: proposal.curvature.shape[0]] = proposal.curvature
    # each direction follows the monomials of those before it: in their order, leading parts of one factor
    rank = np.argsort(last, kind="stable")
    x, last = x[:, rank], last[rank]
    gram = (x * w[:, None]).T @ x
    gram += np.diag(1e-3 * np.diag(gram) + 1e-12)
    lower = np.linalg.cholesky(gram)
    half = solve_triangular(lower, (x * w[:, None]).T @ off, lower=True)
    i = proposal.bounded
    while i < d:
        m = int(np.searchsorted(last, i))
        end = d if m == last.size else int(last[m]) + 1
        if m:
            curvature[rank[:m], i:end] -= solve_triangular(
                lower[:m, :m], half[:m, i:end], lower=True, trans="T"
            )
        i = end
    return replace(proposal, monomials=monomials, curvature=curvature)


def _screen(proposal: Proposal, e: Array, off: Array, w: Array) -> Integers:
    """The monomials used so far and those that the displacement follows most; a square brings its cube."""
    d = e.shape[1]
    a, b = np.tril_indices(d)
    product = e[:, a] * e[:, b]
    product /= np.sqrt(np.mean(product**2, axis=0)) + 1e-12
    pull = np.abs((product * w[:, None]).T @ off) / w.sum()
    # a monomial can only move directions after its own
    pull[np.arange(d)[None, :] <= np.maximum(a, proposal.bounded - 1)[:, None]] = 0.0
    score = np.sqrt(np.sum(pull**2, axis=1))
    noise = np.sqrt(np.sum(off**2 * w[:, None]) / w.sum() / e.shape[0])
    strong = [k for k in np.argsort(-score)[:_MOST] if score[k] > max(_BENDING, 1.5 * noise)]
    found = [(int(a[k]), int(b[k]), -1) for k in strong]
    found += [(i, i, i) for i, j, _ in found if i == j]
    known = [tuple(m) for m in proposal.monomials.tolist()]
    return np.array(known + [m for m in found if m not in set(known)], dtype=np.int64).reshape(-1, 3)


def _features(e: Array, monomials: Integers) -> Array:
    """Values of monomials, products of two or three directions: (draws, d) to (draws, monomials)."""
    x = e[:, monomials[:, 0]] * e[:, monomials[:, 1]]
    cube = monomials[:, 2] >= 0
    x[:, cube] *= e[:, monomials[cube, 2]]
    return x
