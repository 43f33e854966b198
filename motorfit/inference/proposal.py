"""The proposal of the fast path: a Gaussian bent along the posterior's ridges and cut at its bounds.

The posterior of a bench is a thin curved sheet: products with gains are known to 0.005 %, each factor to its
gain's 1 %, so a straight Gaussian leaves the sheet after half a standard deviation.  Two exact devices keep
it there.

- A triangular map with unit determinant adds to every standardised direction polynomials of the wider
  directions before it, learned from Gauss-Newton steps at scattered points (the geodesic acceleration of
  M. K. Transtrum and J. P. Sethna, arXiv:1201.5885, at finite steps and as a change of variables).
- Effects that may be absent stand first and are drawn from their truncated conditional normals, whose
  density is known (V. A. Hajivassiliou, D. L. McFadden, Econometrica 66 (1998) 863, section 4).

Of several motors, what they share stands first, then each motor's own, which follows what is shared and
nothing of the other motors (`motorfit.inference.blocks`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

__all__ = ["Drawn", "Proposal", "features"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_PRECISIONS = (0.3, 4.0)
"""Of a corrected direction, relative to what it was."""

_FARTHEST = 1.5
"""A correction moves the centre no farther, in widths: a parabola fitted here says little about there."""


@dataclass(frozen=True)
class Drawn:
    """A batch from the proposal: innovations e and positions z, (draws, d), and the log density of each block
    given the shared one, up to a constant, `parts` (draws, blocks)."""

    e: Array
    z: Array
    parts: Array

    @property
    def log_q(self) -> Array:
        """(draws,) log density up to a constant."""
        return np.asarray(self.parts.sum(axis=1))


@dataclass(frozen=True)
class Proposal:
    """Draws z from standardised innovations e, direction by direction.

    Attributes
    ----------
    centre : (d,) position of e = 0 [-]
    factor : (d, d) lower triangular in `order`: z[order] = centre[order] + factor e'
    order : (d,) coordinate of each direction: block by block, in each the bounded ones first, then from wide
        to narrow
    block : (d,) block of each direction, 0 being what all others follow
    top : (d,) upper bound of a bounded coordinate, the lower one being 0; NaN for a free direction
    monomials : (m, 3) directions that are multiplied, -1 for none
    curvature : (m, d) what each monomial adds to the directions after its own, within the reach of its block
    mean, scale : (d,) of the innovations, learned from weighted draws
    nu : degrees of freedom of the Student-t of the free innovations of a block
    """

    centre: Array
    factor: Array
    order: Integers
    block: Integers
    top: Array
    monomials: Integers
    curvature: Array
    mean: Array
    scale: Array
    nu: float

    @cached_property
    def bounded(self) -> Flags:
        """(d,) which directions are bounded."""
        return ~np.isnan(self.top)

    @cached_property
    def blocks(self) -> int:
        """Number of blocks."""
        return int(self.block.max()) + 1

    @property
    def normals(self) -> int:
        """Standard normals that make one draw: one a direction, then one a block for its tail."""
        return int(self.centre.size) + self.blocks

    @cached_property
    def normals_of(self) -> Integers:
        """(normals,) block of each."""
        return np.concatenate([self.block, np.arange(self.blocks)])

    @cached_property
    def block_of_monomial(self) -> Integers:
        """(m,) block from which on a monomial is known."""
        block = np.where(self.monomials >= 0, self.block[self.monomials], 0)
        return np.asarray(block.max(axis=1, initial=0), dtype=np.int64)

    def place(self, e: Array) -> Array:
        """Positions z of innovations: (draws, d) to (draws, d)."""
        moved = e.copy()
        shared = None
        for b in range(self.blocks):
            shared = self._bend(b, e, moved, shared)
        return self._placed(moved)

    def _placed(self, moved: Array) -> Array:
        z = np.empty_like(moved)
        z[:, self.order] = self.centre[self.order] + moved @ self.factor.T
        return z

    def _bend(self, b: int, e: Array, moved: Array, shared: Array | None) -> Array | None:
        """Add to the directions of a block, in `moved`, what monomials displace them by.

        `shared` are the values of the monomials of block 0 once they are known, which are returned.
        """
        mine, at = self.block_of_monomial == b, self.block == b
        if mine.any():
            values = features(e, self.monomials[mine])
            moved[:, at] += values @ self.curvature[np.ix_(mine, at)]
            if b == 0:
                return values
        if b > 0 and shared is not None:
            moved[:, at] += shared @ self.curvature[np.ix_(self.block_of_monomial == 0, at)]
        return shared

    def draw(self, normal: Array) -> Drawn:
        """Draws from standard normals (draws, `normals`)."""
        from scipy.special import gammaincinv, ndtr

        d = self.centre.size
        e = np.empty((normal.shape[0], d))
        moved = np.empty_like(e)
        parts = np.zeros((normal.shape[0], self.blocks))
        shared = None
        for b in range(self.blocks):
            for i in np.flatnonzero(self.bounded & (self.block == b)):
                at = self.centre[self.order[i]] + moved[:, :i] @ self.factor[i, :i]
                at += self.factor[i, i] * self.mean[i]
                width = self.factor[i, i] * self.scale[i]
                unit, log_p = _truncated(normal[:, i], -at / width, (self.top[i] - at) / width)
                e[:, i] = moved[:, i] = self.mean[i] + self.scale[i] * unit
                parts[:, b] += log_p
            at_free = np.flatnonzero(~self.bounded & (self.block == b))
            mix = 2.0 * gammaincinv(0.5 * self.nu, ndtr(normal[:, d + b])) / self.nu
            free = normal[:, at_free]
            tail = np.log1p(np.sum(free**2, axis=1) / mix / self.nu)
            parts[:, b] -= 0.5 * (self.nu + at_free.size) * tail
            e[:, at_free] = self.mean[at_free] + self.scale[at_free] * (free / np.sqrt(mix)[:, None])
            moved[:, at_free] = e[:, at_free]
            shared = self._bend(b, e, moved, shared)
        return Drawn(e, self._placed(moved), parts)

    def corrected(self, e: Array, log_weights: Array) -> Proposal:
        """The proposal with its centre and widths moved to where the log-weights are level.

        Parameters
        ----------
        e : (draws, d) innovations
        log_weights : (draws, blocks) of target over proposal, block by block, any constant

        A parabola along every direction that a block follows is fitted to its log-weights. Every draw tells
        of it, not only the few that carry weight, so far fewer are needed than for weighted moments. No width
        grows more than 1.8 times or shrinks to less than half.
        """
        slope, curve = np.zeros(e.shape[1]), np.zeros(e.shape[1])
        for b in range(self.blocks):
            near = (self.block == 0) | (self.block == b)
            along, bent = _parabolas((e - self.mean)[:, near], log_weights[:, b])
            slope[near] += along
            curve[near] += bent
        grown = np.clip(1.0 - 2.0 * curve * self.scale**2, *_PRECISIONS)
        step = slope * self.scale**2 / grown
        mean = self.mean + step / max(1.0, float(np.abs(step).max()) / _FARTHEST)
        return replace(self, mean=mean, scale=self.scale / np.sqrt(grown))


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


def features(e: Array, monomials: Integers) -> Array:
    """Values of monomials, products of two or three directions: (draws, d) to (draws, monomials)."""
    x = e[:, monomials[:, 0]] * e[:, monomials[:, 1]]
    cube = monomials[:, 2] >= 0
    x[:, cube] *= e[:, monomials[cube, 2]]
    return x
