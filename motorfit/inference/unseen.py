"""What a posterior expects of runs it has not seen, with all that a sensor and a stand add."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from motorfit.bench.reduce import BlockedRun
from motorfit.inference.graph import LOG, MEASURED, build_graph
from motorfit.inference.positions import Positions, matched
from motorfit.inference.slow_error import slow_error
from motorfit.inference.target import Target, build_target, whitening
from motorfit.physics.slots import N_CHANNELS

__all__ = ["UnseenRun", "predict_unseen", "typical_scales"]

Array = npt.NDArray[np.float64]

_LEAST_SHAPE = 0.9
"""Of the belief about the scatter of steady rows (see `build_target`)."""


@dataclass(frozen=True)
class UnseenRun:
    """One run as predicted and as logged.

    Attributes
    ----------
    run : id
    start_s, length_s : (blocks,) [s]; zeros and NaN for tables
    observed : channel -> (blocks,) block means, SI, NaN where missing
    replicas : channel -> (draws, blocks) block means as they would have been logged
    """

    run: str
    start_s: Array
    length_s: Array
    observed: dict[str, Array]
    replicas: dict[str, Array]


@dataclass(frozen=True)
class _Unseen(Target):
    """A target whose steady rows scatter as other rows did, not as its own."""

    known_scatter: Array

    def row_scatter(self, z: Array, rng: np.random.Generator) -> Array:
        """Draws of the scatter, (draws, N_CHANNELS) [1]."""
        return self.known_scatter


def typical_scales(target: Target) -> Array:
    """How much noisier than its own high frequencies a channel was in the runs of a fit, (N_CHANNELS,) [1].

    1 for channels without logged runs.
    """
    isd, _ = whitening(target.flat)
    out = np.ones(N_CHANNELS)
    for c in range(N_CHANNELS):
        found = []
        for a, b in pairwise(target.flat.first):
            used = (target.isd[a:b, c] > 0.0) & target.flat.logged[a:b]
            if used.any():
                found.append(float(np.median(np.log(isd[a:b, c][used] / target.isd[a:b, c][used]))))
        if found:
            out[c] = float(np.exp(np.median(found)))
    return out


def _scales(known: Target, held: Target, isd: Array) -> Array:
    """How much noisier blocks are than by their runs' own high frequencies, (blocks, N_CHANNELS) [1].

    As noisy, for their length, as blocks of fitted runs with such a load: jumps of throttle pass for noise
    in a run's high frequencies, which a fit corrects and a run left out cannot. As `typical_scales` where no
    fitted run has such a load.
    """
    usual = typical_scales(known)
    out = np.tile(usual, (isd.shape[0], 1))
    for run, (a, b) in zip(held.graph.runs, pairwise(held.flat.first), strict=True):
        for c in range(N_CHANNELS):
            own = _level(run, isd[a:b, c])
            levels = [
                _level(other, known.isd[p:q, c])
                for other, (p, q) in zip(known.graph.runs, pairwise(known.flat.first), strict=True)
                if (other.run.propeller is None) == (run.run.propeller is None)
                and (other.run.flywheel is None) == (run.run.flywheel is None)
            ]
            told = [level for level in levels if np.isfinite(level)]
            if told and np.isfinite(own):
                out[a:b, c] = np.exp(0.5 * (np.median(np.log(told)) - math.log(own)))
    return out


def _level(run: BlockedRun, isd: Array) -> float:
    """Variance of a block times its length: of white noise the same for all lengths; NaN without blocks."""
    used = (isd > 0.0) & np.isfinite(run.length_s)
    return float(np.median(run.length_s[used] / isd[used] ** 2)) if used.any() else math.nan


def predict_unseen(
    known: Positions,
    runs: Sequence[BlockedRun],
    rng: np.random.Generator,
    draws: int,
    told: Mapping[str, Array] | None = None,
) -> tuple[UnseenRun, ...]:
    """Predict runs that were not fitted, at their logged throttle and supply.

    Parameters
    ----------
    known : draws of the posterior of the other runs
    runs : of the same campaign, reduced
    rng : random generator
    draws : how many replicas, at most as many as there are draws
    told : coordinate -> its natural values (draws of ``known``,), where something beside the other runs
        and the priors tells of it

    Returns
    -------
    One UnseenRun each.  What belongs to a run alone (start speed, warmth) and to channels or machines that
    no other run tells of comes from the prior; noise and the size of slow errors are those that the other
    runs showed, its memory that of the run's own high frequencies.  Draws that are impossible for a
    machine known from its prior only are left out.
    """
    target = build_target(build_graph(known.target.graph.campaign, tuple(runs), known.late))
    isd, phi = whitening(target.flat)
    isd = isd / np.where(target.flat.logged[:, None], _scales(known.target, target, isd), 1.0)
    size = known.target.slow.size
    held = target.with_noise(isd, phi, slow_error(target.flat, isd, phi, size))
    order = rng.permutation(known.z.shape[0])[:draws]
    picked = known.z[order]
    z = matched(known.target.graph, picked, held.graph, rng)
    for name, values in (told or {}).items():
        c = held.graph.coordinates[held.graph.index[name]]
        natural = np.log(values[order]) if c.kind == LOG else values[order]
        z[:, held.graph.index[name]] = (natural - c.center) / c.scale
    with np.errstate(all="ignore"):  # a prior may propose what no machine can be
        readings = held.predict(z)
    used = isd > 0.0
    possible = np.isfinite(readings[:, used]).all(axis=1)
    unseen = _Unseen(
        **{f.name: getattr(held, f.name) for f in fields(held)},
        known_scatter=_scatter(known.target, held, picked[possible], rng),
    )
    logged = readings[possible] + unseen.noise(z[possible], rng)
    out = []
    for run, (a, b) in zip(runs, pairwise(held.flat.first), strict=True):
        channels = [(c, name) for c, name in enumerate(MEASURED) if used[a:b, c].any()]
        out.append(
            UnseenRun(
                run.run.id, run.start_s, run.length_s,
                {name: np.where(used[a:b, c], held.flat.y[a:b, c], np.nan) for c, name in channels},
                {name: logged[:, a:b, c] for c, name in channels},
            )
        )  # fmt: skip
    return tuple(out)


def _scatter(known: Target, held: Target, z: Array, rng: np.random.Generator) -> Array:
    """Scatter of steady rows as other rows showed it, from its belief where there are none."""
    out = np.ones((z.shape[0], N_CHANNELS))
    told = known.scatter[0] > 0.0
    if told.any():
        out[:, told] = known.row_scatter(z, rng)[:, told]
    believed = np.sqrt(0.5 * held.scatter[1] / rng.gamma(_LEAST_SHAPE, size=out.shape))
    return np.where(told, out, believed)
