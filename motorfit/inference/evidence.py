"""How likely a noise model is, with the parameters integrated out.

Around a position residuals are linear in the parameters, r + J δ, and priors are rows like any other.  With
noise of scale σ in a run and a slow error of size v along whitened directions Q of strength s, the data have
the covariance σ² + v² s² along Q and σ² across.  Integrating δ and the slow error out leaves, but for a
constant,

    -2 log m = Σ [n log σ² + Σ log(1 + v² s²/σ²)] + log det H + min_δ [Σ r' C⁻¹ r],    H = Σ J' C⁻¹ J

the restricted likelihood (H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545) with priors.  Without the
parameters' share, log det H, a slow error would shrink round by round: the parameters bend until little of it
is left, and what they bent for no longer shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.inference.differences import derivatives, residuals_about
from motorfit.inference.priors import HalfNormal
from motorfit.inference.slow_error import directions
from motorfit.inference.target import Target
from motorfit.physics.slots import MODE_AT_SPEED, N_CHANNELS

__all__ = ["Evidence", "evidence_at"]

Array = npt.NDArray[np.float64]

_SIZES = np.concatenate(([0.0], np.geomspace(3e-5, 0.05, 28)))
_SIZE_BELIEF = 0.01
"""One sigma of the half-normal belief about a slow error's size [1]."""

_SCALES = np.geomspace(1.0 / 3.0, 300.0, 160)
"""Of the noise, relative to what the log's own fast part shows [1]: never below a third."""

_AT_BOUND = 1e-4
_FEWEST = 12
_SWEEPS = 2


@dataclass(frozen=True)
class Part:
    """A channel of a run: n residuals and their derivatives, as products and along the slow directions."""

    run: int
    channel: int
    n: int
    strength: Array
    gram: Array
    pull: Array
    power: float
    along: Array
    along_j: Array

    def terms(self, value: float, scale: float) -> tuple[Array, Array, float]:
        """(H, J' C⁻¹ r, log det C + r' C⁻¹ r) of the part."""
        slow = (value * self.strength) ** 2
        share = slow / (scale**2 + slow)
        h = (self.gram - (self.along_j.T * share) @ self.along_j) / scale**2
        b = (self.pull - self.along_j.T @ (share * self.along)) / scale**2
        fit = (self.power - float(np.sum(share * self.along**2))) / scale**2
        return h, b, fit + 2.0 * self.n * float(np.log(scale)) + float(np.sum(np.log1p(slow / scale**2)))

    def scale(self, value: float, step: Array) -> float:
        """Scale of the noise that makes the residuals after a step of the parameters most likely."""
        along = self.along + self.along_j @ step
        left = self.power + 2.0 * self.pull @ step + step @ self.gram @ step - along @ along
        grown = _SCALES[:, None] ** 2 + (value * self.strength) ** 2
        fit = (self.n - along.size) * np.log(_SCALES) + 0.5 * max(float(left), 0.0) / _SCALES**2
        fit += 0.5 * np.sum(np.log(grown) + along**2 / grown, axis=1)
        return float(_SCALES[int(np.argmin(fit))])


class Evidence:
    """Sizes of slow errors, scales of noise, and how likely they are."""

    def __init__(self, parts: list[Part], h: Array, b: Array, runs: int) -> None:
        self.parts, self.h, self.b, self._runs = parts, h, b, runs
        self._of = [[p for p in parts if p.channel == c] for c in range(N_CHANNELS)]

    def most_likely(self, start: Array) -> tuple[Array, Array]:
        """Climb from sizes (N_CHANNELS,) [1], channel by channel.

        Returns
        -------
        (sizes (N_CHANNELS,) [1], scales (runs, N_CHANNELS) of the noise [1], 1 where nothing is known)
        """
        size = np.array([_SIZES[np.argmin(np.abs(_SIZES - v))] for v in start])
        scales = np.ones((self._runs, N_CHANNELS))
        step = np.zeros(self.b.size)
        for p in self.parts:
            scales[p.run, p.channel] = p.scale(float(size[p.channel]), step)
        for sweep in range(_SWEEPS):
            before = size.copy()
            for c, parts in enumerate(self._of):
                if not parts:
                    size[c] = 0.0
                    continue
                h, b = self.h.copy(), self.b.copy()
                for p in self.parts:
                    if p.channel != c:
                        more_h, more_b, _ = p.terms(float(size[p.channel]), scales[p.run, p.channel])
                        h += more_h
                        b += more_b
                size[c], step, found = self._climb(parts, h, b, float(size[c]), step, sweep == 0)
                for p, scale in zip(parts, found, strict=True):
                    scales[p.run, c] = scale
            if sweep > 0 and np.array_equal(before, size):
                break
        return size, scales

    def _climb(
        self, parts: list[Part], h: Array, b: Array, start: float, step: Array, wide: bool
    ) -> tuple[float, Array, list[float]]:
        """The best size of one channel: a coarse look over all sizes first, then its neighbours."""
        known: dict[int, tuple[float, Array, list[float]]] = {}

        def look(i: int) -> float:
            if i not in known:
                known[i] = _score(parts, h, b, float(_SIZES[i]), step)
            return known[i][0]

        best = int(np.argmin(np.abs(_SIZES - start)))
        places = range(0, _SIZES.size, 4) if wide else ()
        best = max((best, *places), key=look)
        while True:
            near = max((i for i in (best - 1, best, best + 1) if 0 <= i < _SIZES.size), key=look)
            if near == best:
                return float(_SIZES[best]), known[best][1], known[best][2]
            best = near


def _score(
    parts: list[Part], h: Array, b: Array, value: float, step: Array
) -> tuple[float, Array, list[float]]:
    """(log evidence of a size of one channel up to what others add, step of the parameters, scales)."""
    scales: list[float] = []
    score = 0.0
    for _ in range(2):
        scales = [p.scale(value, step) for p in parts]
        total_h, total_b, total = h.copy(), b.copy(), 0.0
        for p, scale in zip(parts, scales, strict=True):
            more_h, more_b, more = p.terms(value, scale)
            total_h += more_h
            total_b += more_b
            total += more
        factor = np.linalg.cholesky(total_h)
        white = np.linalg.solve(factor, total_b)
        step = -np.linalg.solve(factor.T, white)
        score = -0.5 * (total + 2.0 * float(np.sum(np.log(np.diag(factor)))) - float(white @ white))
    return score - 0.5 * (value / _SIZE_BELIEF) ** 2, step, scales


def evidence_at(bare: Target, z: Array) -> Evidence:
    """Lay out the evidence around a position.

    Parameters
    ----------
    bare : the posterior whitened by the logs' own noise, without slow errors in logs
    z : (coordinates,) position; coordinates that stand on a bound are held there
    """
    flat = bare.flat
    free = np.array([not _at_bound(x, c.prior) for x, c in zip(z, bare.graph.coordinates, strict=True)])
    rows = residuals_about(bare, z, free)
    r, j = rows[0], derivatives(rows)
    parts = []
    rest = np.ones(r.size, dtype=bool)
    for run in range(flat.first.size - 1):
        a, b = flat.first[run], flat.first[run + 1]
        if flat.mode[run] == MODE_AT_SPEED:
            continue
        for c in range(N_CHANNELS):
            slot = bare.slot[a:b, c]
            used = slot >= 0
            n = int(np.count_nonzero(used))
            if n < _FEWEST:
                continue
            q, s = directions(flat, bare.isd, bare.phi, run, c, 1.0)
            part_r, part_j, q = r[slot[used]], j[slot[used]], q[used]
            rest[slot[used]] = False
            parts.append(
                Part(
                    run, c, n, s, part_j.T @ part_j, part_j.T @ part_r, float(part_r @ part_r), q.T @ part_r,
                    q.T @ part_j,
                )
            )  # fmt: skip
    rest_r, rest_j = r[rest], j[rest]
    return Evidence(parts, rest_j.T @ rest_j, rest_j.T @ rest_r, flat.first.size - 1)


def _at_bound(x: float, prior: object) -> bool:
    return isinstance(prior, HalfNormal) and (x < _AT_BOUND or prior.top - x < _AT_BOUND)
