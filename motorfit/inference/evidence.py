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

from motorfit.inference.differences import linearise
from motorfit.inference.evidence_kernels import scale_of, score_of_size
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

    def scale(self, value: float) -> float:
        """Scale of the noise that makes the residuals most likely, no parameter moved."""
        left = max(self.power - float(self.along @ self.along), 0.0)
        return float(scale_of(self.n, self.strength, left, self.along, self.strength.size, value, _SCALES))


@dataclass(frozen=True)
class Channel:
    """The parts of a channel, stacked as the compiled loops want them; shorter ones filled up with zeros."""

    n: Array
    used: npt.NDArray[np.int64]
    strength: Array
    gram: Array
    pull: Array
    power: Array
    along: Array
    along_j: Array

    @classmethod
    def of(cls, parts: list[Part]) -> Channel:
        """Stack them; at least one."""
        used = np.array([p.strength.size for p in parts], dtype=np.int64)
        strength, along = (np.zeros((len(parts), max(int(used.max()), 1))) for _ in range(2))
        along_j = np.zeros((*along.shape, parts[0].pull.size))
        for k, (m, p) in enumerate(zip(used, parts, strict=True)):
            strength[k, :m], along[k, :m], along_j[k, :m] = p.strength, p.along, p.along_j
        n, power = np.array([(p.n, p.power) for p in parts], dtype=np.float64).T.copy()
        gram, pull = np.stack([p.gram for p in parts]), np.stack([p.pull for p in parts])
        return cls(n, used, strength, gram, pull, power, along, along_j)

    def score(self, h: Array, b: Array, value: float, step: Array) -> tuple[float, Array, Array]:
        """(log evidence of a size up to what other channels add, step of the parameters, scales (parts,)).

        h (d, d) and b (d,): of the priors and the other channels; step (d,) to begin with.
        """
        step, found = step.copy(), np.empty(self.n.size)
        score = score_of_size(
            self.n, self.used, self.strength, self.gram, self.pull, self.power, self.along, self.along_j,
            h, b, value, _SCALES, step, found,
        )  # fmt: skip
        return float(score) - 0.5 * (value / _SIZE_BELIEF) ** 2, step, found


class Evidence:
    """Sizes of slow errors, scales of noise, and how likely they are."""

    def __init__(self, parts: list[Part], h: Array, b: Array, runs: int) -> None:
        self.parts, self.h, self.b, self._runs = parts, h, b, runs
        of = [[p for p in parts if p.channel == c] for c in range(N_CHANNELS)]
        self._of = [Channel.of(own) if own else None for own in of]

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
            scales[p.run, p.channel] = p.scale(float(size[p.channel]))
        for sweep in range(_SWEEPS):
            before = size.copy()
            for c, channel in enumerate(self._of):
                if channel is None:
                    size[c] = 0.0
                    continue
                h, b = self.h.copy(), self.b.copy()
                for p in self.parts:
                    if p.channel != c:
                        more_h, more_b, _ = p.terms(float(size[p.channel]), scales[p.run, p.channel])
                        h += more_h
                        b += more_b
                size[c], step, found = _climb(channel, h, b, float(size[c]), step, sweep == 0)
                scales[[p.run for p in self.parts if p.channel == c], c] = found
            if sweep > 0 and np.array_equal(before, size):
                break
        return size, scales


def _climb(
    channel: Channel, h: Array, b: Array, start: float, step: Array, wide: bool
) -> tuple[float, Array, Array]:
    """The best size of one channel: a coarse look over all sizes first, then its neighbours."""
    known: dict[int, tuple[float, Array, Array]] = {}

    def look(i: int) -> float:
        if i not in known:
            known[i] = channel.score(h, b, float(_SIZES[i]), step)
        return known[i][0]

    best = int(np.argmin(np.abs(_SIZES - start)))
    places = range(0, _SIZES.size, 4) if wide else ()
    best = max((best, *places), key=look)
    while True:
        near = max((i for i in (best - 1, best, best + 1) if 0 <= i < _SIZES.size), key=look)
        if near == best:
            return float(_SIZES[best]), known[best][1], known[best][2]
        best = near


def evidence_at(bare: Target, z: Array) -> Evidence:
    """Lay out the evidence around a position.

    Parameters
    ----------
    bare : the posterior whitened by the logs' own noise, without slow errors in logs
    z : (coordinates,) position; coordinates that stand on a bound are held there
    """
    flat = bare.flat
    free = np.array([not _at_bound(x, c.prior) for x, c in zip(z, bare.graph.coordinates, strict=True)])
    linear = linearise(bare, z, free)
    r, j = linear.residuals, linear.jacobian
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
