"""The posterior density: data, priors and slow errors in one object that optimum and samplers share."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.assemble import Values, assemble
from motorfit.inference.combine import combined_terms, terms_of
from motorfit.inference.graph import MEASURED, Graph, duty_rows
from motorfit.inference.kernels import predict_run, residual_rows
from motorfit.inference.priors import BELIEFS, HalfNormal, Normal
from motorfit.inference.slow_error import SlowError, slow_error
from motorfit.lanes import LANES
from motorfit.physics.slots import (
    C_DUTY,
    MODE_AT_SPEED,
    MODE_DRIVEN,
    MODE_FREEWHEEL,
    N_CHANNELS,
    N_PHYSICS,
)

__all__ = ["Flat", "Target", "build_target", "flatten"]

Array = npt.NDArray[np.float64]

_MODES = {"driven": MODE_DRIVEN, "freewheel": MODE_FREEWHEEL, "at-speed": MODE_AT_SPEED}
_THREADS = max(1, min(os.cpu_count() or 1, 8))


@cache
def _pool() -> ThreadPoolExecutor:
    """Threads for the compiled kernels, which run without the interpreter's lock."""
    return ThreadPoolExecutor(_THREADS, thread_name_prefix="motorfit")


@dataclass(frozen=True)
class Flat:
    """Runs stacked along blocks, as the compiled kernels want them (units: SI; see `kernels`)."""

    first: npt.NDArray[np.int64]
    mode: npt.NDArray[np.int64]
    h: Array
    throttle: Array
    supply: Array
    on: Array
    samples: Array
    slope: Array
    y: Array
    variance: Array
    covariance: Array

    @property
    def size(self) -> int:
        """What one draw costs, in blocks; not 0 where there are measurements alone."""
        return max(self.h.size, 1)

    @cached_property
    def logged(self) -> npt.NDArray[np.bool_]:
        """(blocks,) True for blocks of logs, False for steady rows."""
        return np.repeat(self.mode != MODE_AT_SPEED, np.diff(self.first))

    @property
    def inputs(self) -> tuple[Any, Any, Any, Any, Any, Any, Any, Any, Any]:
        """Leading arguments of the kernels after the parameters."""
        return (
            self.first,
            self.mode,
            self.h,
            self.throttle,
            self.supply,
            self.on,
            self.samples,
            self.slope,
            self.y,
        )


def flatten(graph: Graph) -> Flat:
    """Stack the reduced runs of a graph."""
    runs = graph.runs
    sizes = [r.size for r in runs]
    first = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
    n = int(first[-1])
    y = np.full((n, N_CHANNELS), np.nan)
    variance = np.full((n, N_CHANNELS), np.nan)
    covariance = np.zeros((n, N_CHANNELS))
    for r, (a, b) in zip(runs, pairwise(first), strict=True):
        for c, name in enumerate(MEASURED):
            if name not in r.mean:
                continue
            y[a:b, c] = r.mean[name]
            if r.mode == "freewheel" and name not in ("speed", "thrust", "torque"):
                continue
            if r.mode == "at-speed":
                if name != "speed":
                    variance[a:b, c] = _table_variance(r.mean[name])
                continue
            variance[a:b, c] = r.variance[name]
            covariance[a:b, c] = r.covariance[name]
            # a late channel first shows what was before the run began, which the model does not know
            y[a:b, c][r.start_s - r.start_s[0] < graph.lateness_s(name)] = np.nan
        if r.mode == "at-speed":
            y[a:b, C_DUTY] = np.where(duty_rows(r), 0.0, np.nan)
            variance[a:b, C_DUTY] = 1.0
    stack = [
        np.concatenate([np.zeros(0), *(getattr(r, k) for r in runs)])  # measurements alone have no run
        for k in ("length_s", "throttle", "on", "samples", "slope")
    ]
    supply = np.stack(
        [
            np.concatenate([np.zeros(0), *(getattr(r.supply, k) for r in runs)])
            for k in ("open_circuit_v", "along")
        ]
    )
    modes = np.array([_MODES[r.mode] for r in runs], dtype=np.int64)
    length, throttle, on, samples, slope = (np.ascontiguousarray(a) for a in stack)
    return Flat(first, modes, length, throttle, supply, on, samples, slope, y, variance, covariance)


def _table_variance(values: Array) -> Array:
    """Unit-scale variance of a table's rows: part of full scale, part of reading [unit²]."""
    full = float(np.nanmax(np.abs(values), initial=0.0)) or 1.0
    return np.asarray((0.35 * full) ** 2 + (0.65 * values) ** 2)


@dataclass(frozen=True)
class Target:
    """Log posterior of standardised coordinates.

    `graph` lays them out, `flat` holds the data, `isd`/`phi` the Markov whitening, `slow` the slow errors
    that are integrated out.  Steady rows have no log of their own to measure noise from: `scatter` (2,
    N_CHANNELS) holds what their unknown scatter, integrated over an inverse gamma belief, makes of their sum
    of squares (see `kernels`).
    """

    graph: Graph
    flat: Flat
    isd: Array
    phi: Array
    slow: SlowError
    scatter: Array

    @cached_property
    def slot(self) -> npt.NDArray[np.int64]:
        """Place of each block's channel among the data residuals, (blocks, N_CHANNELS); -1 where there is
        none."""
        used = self.isd > 0.0
        return np.where(used, np.cumsum(used).reshape(used.shape) - 1, -1)

    @cached_property
    def cuts(self) -> npt.NDArray[np.int64]:
        """(runs + 1,) first data residual of each run."""
        return np.concatenate(([0], np.cumsum(np.count_nonzero(self.isd, axis=1))))[self.flat.first]

    @property
    def innovation_sd(self) -> Array:
        """What a block adds to the noise of the one before, (blocks, N_CHANNELS) SI; NaN where not used."""
        used = self.isd > 0.0
        return np.where(used, 1.0 / np.where(used, self.isd, 1.0), np.nan)

    @property
    def data_rows(self) -> int:
        """Number of data residuals; those of the priors follow."""
        return int(np.count_nonzero(self.isd))

    def values(self, z: Array) -> Values:
        """Natural values of draws (draws, coordinates)."""
        return Values(self.graph, self.graph.natural(z))

    def predict(self, z: Array) -> Array:
        """Noise-free sensor readings of draws: (draws, blocks, N_CHANNELS), SI."""
        a = assemble(self.graph, self.values(z))
        n = self.flat.h.size
        out = np.zeros((z.shape[0], n, N_CHANNELS))
        q, source, work = np.empty((N_PHYSICS, LANES)), np.empty((n + 1, LANES)), np.empty((n + 6, LANES))
        pred = np.empty((n, N_CHANNELS, LANES))
        for s in range(0, z.shape[0], LANES):
            used = min(LANES, z.shape[0] - s)
            for r, (begin, end) in enumerate(pairwise(self.flat.first)):
                part = pred[: end - begin]
                predict_run(r, s, a.phys, a.sens, a.volt, *self.flat.inputs, q, source, work, part)
                out[s : s + used, begin:end] = np.moveaxis(part[..., :used], -1, 0)
        return out

    def residuals(self, z: Array) -> Array:
        """Data, prior and combination residuals of draws: (draws, rows), with -½ Σ r² the log density to
        optimise."""
        return np.concatenate([self.data_residuals(z), self.belief_residuals(z)], axis=1)

    def data_residuals(self, z: Array) -> Array:
        """Residuals of the readings, (draws, coordinates) to (draws, data residuals)."""
        out = np.empty((z.shape[0], self.data_rows))
        with np.errstate(all="ignore"):  # a search may pass absurd places; they are not finite
            self._run(self.values(z), out)
        return out

    def belief_residuals(self, z: Array) -> Array:
        """Residuals of priors and of combinations, (draws, coordinates) to (draws, beliefs)."""
        with np.errstate(all="ignore"):
            terms, _ = combined_terms(self.graph, self.values(z))
        return np.concatenate([self._prior_residuals(z), terms.T], axis=1)

    def log_density(self, z: Array) -> Array:
        """Log posterior up to a constant, (draws, coordinates) to (draws,); -inf where impossible."""
        with np.errstate(all="ignore"):  # a sampler may ask about absurd places; the answer is -inf
            v = self.values(z)
            total, _ = self._run(v, None)
            terms, jacobian = combined_terms(self.graph, v)
            out = jacobian - 0.5 * total
            for term in terms:  # one by one: a sum over the axis rounds by the size of the batch
                out -= 0.5 * term**2
            for i, c in enumerate(self.graph.coordinates):
                out += c.prior.log_density(z[:, i])
        return np.where(np.isfinite(out), out, -np.inf)

    @cached_property
    def parts(self) -> tuple[Target | None, ...]:
        """The same posterior with the runs of one block of `Graph.blocks` each; None for a block without."""
        return tuple(self._of_runs(self.graph.blocks.of_run == b) for b in range(self.graph.blocks.size))

    def _of_runs(self, kept: npt.NDArray[np.bool_]) -> Target | None:
        if not kept.any():
            return None
        rows = np.repeat(kept, np.diff(self.flat.first))
        graph = replace(self.graph, runs=tuple(r for r, k in zip(self.graph.runs, kept, strict=True) if k))
        first = np.concatenate(([0], np.cumsum(np.diff(self.flat.first)[kept])))
        stacked = {
            f.name: np.ascontiguousarray(getattr(self.flat, f.name)[rows])
            for f in fields(Flat)
            if f.name not in ("first", "mode", "supply")
        }
        supply = np.ascontiguousarray(self.flat.supply[:, rows])
        flat = Flat(first=first, mode=self.flat.mode[kept], supply=supply, **stacked)
        slow = replace(
            self.slow,
            basis=np.ascontiguousarray(self.slow.basis[..., rows]),
            shrink=np.ascontiguousarray(self.slow.shrink[kept]),
        )
        return replace(self, graph=graph, flat=flat, isd=self.isd[rows], phi=self.phi[rows], slow=slow)

    def log_densities(self, z: Array) -> Array:
        """`log_density` as a sum over the blocks of `Graph.blocks`: (draws, blocks).

        One that is not the first depends on its own coordinates and the shared ones only.
        """
        blocks = self.graph.blocks
        if blocks.size == 1:
            return self.log_density(z)[:, None]
        out = np.zeros((z.shape[0], blocks.size))
        with np.errstate(all="ignore"):  # as for the whole
            v = self.values(z)
            for b, part in enumerate(self.parts):
                if part is not None:
                    out[:, b] -= 0.5 * part._run(v, None)[0]
            for term in terms_of(self.graph, v):
                b = blocks.owners.get(term.owner or "", 0)
                out[:, b] += term.log_jacobian - 0.5 * term.residual**2
            for i, c in enumerate(self.graph.coordinates):
                out[:, blocks.of_coordinate[i]] += c.prior.log_density(z[:, i])
        return np.where(np.isfinite(out), out, -np.inf)

    def _run(self, v: Values, rows: Array | None) -> tuple[Array, Array]:
        """Minus twice the log-likelihood (draws,), and sums of squares of steady rows (draws, N_CHANNELS).

        Residuals go into the first columns of `rows` where that is given.
        """
        a = assemble(self.graph, v)
        total, steady = np.empty(v.draws), np.empty((v.draws, N_CHANNELS))

        def work(begin: int, end: int) -> None:
            part = rows[begin:end] if rows is not None else np.empty((0, 0))
            residual_rows(
                begin, end, a.phys, a.sens, a.volt, *self.flat.inputs, self.isd, self.phi, self.slow.basis,
                self.slow.shrink, self.scatter, self.slot, part, total, steady,
            )  # fmt: skip

        if v.draws <= LANES or _THREADS == 1:
            work(0, v.draws)
        else:
            # more pieces than threads: draws in odd corners take longer, and nobody should wait for them
            groups = -(-v.draws // LANES)
            cuts = np.linspace(0, groups, min(4 * _THREADS, groups) + 1).astype(int) * LANES
            cuts[-1] = v.draws
            list(_pool().map(work, cuts[:-1], cuts[1:]))
        return total, steady

    def _prior_residuals(self, z: Array) -> Array:
        out = np.empty_like(z)
        for i, c in enumerate(self.graph.coordinates):
            # the search may pass the bound of a half-normal, sampling cuts there
            if isinstance(c.prior, Normal | HalfNormal):
                out[:, i] = z[:, i]
            else:
                out[:, i] = np.sign(z[:, i]) * np.sqrt(np.maximum(-2.0 * c.prior.log_density(z[:, i]), 0.0))
        return out

    def noise(self, z: Array, rng: np.random.Generator) -> Array:
        """One realisation of the sensors' noise and slow errors per draw: (draws, blocks, N_CHANNELS), SI."""
        n = self.flat.h.size
        scatter = self.row_scatter(z, rng)
        out = rng.standard_normal((z.shape[0], n, N_CHANNELS)) * np.nan_to_num(self.innovation_sd)
        out[:, ~self.flat.logged] *= scatter[:, None, :]
        for k in range(1, n):
            out[:, k] += self.phi[k] * out[:, k - 1]
        return out + self.slow.draw(self.flat, scatter, rng)

    def row_scatter(self, z: Array, rng: np.random.Generator) -> Array:
        """Draws of the scatter of steady rows relative to their unit variance: (draws, N_CHANNELS) [1]."""
        _, steady = self._run(self.values(z), None)
        shape = np.where(self.scatter[0] > 0.0, 0.5 * self.scatter[0], 1.0)
        return np.asarray(np.sqrt(0.5 * (self.scatter[1] + steady) / rng.gamma(shape, size=steady.shape)))

    def with_fixed(self, values: Mapping[str, Array]) -> Target:
        """The same posterior with constants replaced, by name; (draws,) each, for the draws asked about."""
        return replace(self, graph=replace(self.graph, fixed={**self.graph.fixed, **values}))

    def with_noise(self, isd: Array, phi: Array, slow: SlowError) -> Target:
        """The same posterior with another noise model."""
        return replace(self, isd=isd, phi=phi, slow=slow)


_FIRST_SLOW = 0.005
"""Slow error of every channel before it is learned.  Starting from above, a misfit shows as one; from zero,
the least known parameters would be bent to absorb it."""

_GAMMA_SHAPE, _DIGAMMA = 0.9, -0.7549


def whitening(flat: Flat) -> tuple[Array, Array]:
    """Inverse innovation sd [1/unit] (0 where absent) and correlation coefficient of neighbouring blocks
    [1]."""
    n = flat.h.size
    usable = np.isfinite(flat.y) & np.isfinite(flat.variance)
    isd = np.zeros((n, N_CHANNELS))
    phi = np.zeros((n, N_CHANNELS))
    for a, b in pairwise(flat.first):
        before = np.zeros_like(usable[a:b])
        before[1:] = usable[a : b - 1]
        linked = usable[a:b] & before
        var = flat.variance[a:b]
        previous = np.concatenate([var[:1], var[:-1]])
        coefficient = np.where(linked, flat.covariance[a:b] / np.where(linked, previous, 1.0), 0.0)
        innovation = np.where(linked, var - coefficient * flat.covariance[a:b], var)
        phi[a:b] = coefficient
        isd[a:b] = np.where(usable[a:b], 1.0 / np.sqrt(np.maximum(innovation, 1e-300)), 0.0)
    return isd, phi


def build_target(graph: Graph) -> Target:
    """The posterior of a campaign with the noise measured from its logs."""
    flat = flatten(graph)
    isd, phi = whitening(flat)
    rows = np.count_nonzero(isd[~flat.logged], axis=0).astype(np.float64)
    belief = BELIEFS["row_scatter"]
    # an inverse gamma of the variance with the belief's mean and spread of the logarithm:
    # trigamma(0.90) = (2 ln 2)²
    exponent = np.where(rows > 0.0, rows + 2.0 * _GAMMA_SHAPE, 0.0)
    scale = np.full(N_CHANNELS, 2.0 * belief.center**2 * math.exp(_DIGAMMA))
    return Target(
        graph,
        flat,
        isd,
        phi,
        slow_error(flat, isd, phi, np.full(N_CHANNELS, _FIRST_SLOW)),
        np.stack([exponent, scale]),
    )
