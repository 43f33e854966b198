"""Peers on the same posterior: plain affine-invariant ensembles, as lmfit and emcee offer them.

Both get the compiled density of the fit itself, so that samplers are compared and not models; both start from
draws of the Laplace approximation at the optimum, which they get for nothing.
"""

from __future__ import annotations

import contextlib
import io
import time
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchmarks.common import mixing
from motorfit.inference.optimum import Optimum, bounds_of
from motorfit.inference.target import Target

Array = npt.NDArray[np.float64]

_R_HAT = 1.05
_BURN_IN = 0.2
"""Share of the steps that is thrown away."""


@dataclass(frozen=True)
class Sampled:
    """A peer's run: wall and processor time of sampling [s], smallest bulk ESS, largest R̂, acceptance.

    Walkers count as chains. Until they have mixed, the ESS is hardly more than the number of walkers, which
    their start gave, so a time computed from it is a lower bound.
    """

    name: str
    wall_s: float
    cpu_s: float
    steps: int
    walkers: int
    ess: float
    r_hat: float
    acceptance: float

    @property
    def mixed(self) -> bool:
        """Whether its ESS is more than what the start gave."""
        return self.r_hat <= _R_HAT

    @property
    def to_thousand_s(self) -> float:
        """Time to an ESS of 1000 [s], in proportion."""
        return self.wall_s * 1000.0 / self.ess


def _starts(target: Target, optimum: Optimum, rng: np.random.Generator) -> Array:
    """Walkers drawn from the Laplace approximation, reflected at bounds, only where the density is finite."""
    d = optimum.z.size
    bounds = np.array([bounds_of(c.prior) for c in target.graph.coordinates])
    kept: list[Array] = []
    while sum(part.shape[0] for part in kept) < 2 * d + 2:
        z = optimum.z + 0.5 * rng.standard_normal((4 * d, d)) @ optimum.factor.T
        z = np.where(z < bounds[:, 0], 2.0 * bounds[:, 0] - z, z)
        z = np.where(z > bounds[:, 1], 2.0 * bounds[:, 1] - z, z)
        inside = (z > bounds[:, 0]).all(axis=1) & (z < bounds[:, 1]).all(axis=1)
        kept.append(z[inside & np.isfinite(target.log_density(z))])
    return np.concatenate(kept)[: 2 * d + 2]


def _sampled(name: str, wall_s: float, cpu_s: float, chain: Array) -> Sampled:
    steps, walkers = chain.shape[:2]
    ess, r_hat = mixing(np.swapaxes(chain[int(_BURN_IN * steps) :], 0, 1))
    moved = np.any(np.diff(chain, axis=0) != 0.0, axis=2)
    return Sampled(name, wall_s, cpu_s, steps, walkers, ess, r_hat, float(moved.mean()))


def lmfit_emcee(target: Target, optimum: Optimum, seed: int, seconds: float) -> Sampled:
    """lmfit's `Minimizer.emcee`: one walker a call, stretch moves, for about so many seconds."""
    import lmfit

    names = [f"z{i}" for i in range(optimum.z.size)]
    parameters = lmfit.Parameters()
    for name, value, coordinate in zip(names, optimum.z, target.graph.coordinates, strict=True):
        low, high = bounds_of(coordinate.prior)
        parameters.add(name, value=float(value), min=low, max=high)

    def log_posterior(p: lmfit.Parameters) -> float:
        z = np.array([[p[name].value for name in names]])
        return float(target.log_density(z)[0])

    start = _starts(target, optimum, np.random.default_rng(seed))
    sampler = lmfit.Minimizer(log_posterior, parameters, nan_policy="omit")

    def run(steps: int) -> tuple[float, float, Array]:
        begin, spent = time.perf_counter(), time.process_time()
        # it prints that its chain is short; R̂ is reported instead
        with contextlib.redirect_stdout(io.StringIO()), np.errstate(all="ignore"):
            sampler.emcee(
                steps=steps, nwalkers=start.shape[0], pos=start, seed=seed, progress=False,
                float_behavior="posterior", run_mcmc_kwargs={"skip_initial_state_check": True},
            )  # fmt: skip
        return (
            time.perf_counter() - begin,
            time.process_time() - spent,
            np.asarray(sampler.sampler.get_chain()),
        )

    run(2)
    each = run(10)[0] / 10.0
    return _sampled("lmfit Minimizer.emcee", *run(max(int(seconds / each), 50)))


def stretch_emcee(target: Target, optimum: Optimum, seed: int, seconds: float) -> Sampled:
    """emcee's stretch move with all walkers of a half in one call of the compiled density."""
    import emcee

    start = _starts(target, optimum, np.random.default_rng(seed))

    def run(steps: int) -> tuple[float, float, Array]:
        sampler = emcee.EnsembleSampler(*start.shape, target.log_density, vectorize=True)
        sampler.random_state = np.random.RandomState(seed).get_state()
        begin, spent = time.perf_counter(), time.process_time()
        sampler.run_mcmc(start, steps, skip_initial_state_check=True)
        return time.perf_counter() - begin, time.process_time() - spent, np.asarray(sampler.get_chain())

    run(2)
    each = run(10)[0] / 10.0
    return _sampled("emcee stretch, batched", *run(max(int(seconds / each), 50)))
