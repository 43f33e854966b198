"""The reference path: emcee ensembles in the coordinates of the bent proposal.

There the posterior is nearly a standard normal without bounds, so the affine-invariant moves (J. Goodman, J.
Weare, Commun. Appl. Math. Comput. Sci. 5 (2010) 65; C. J. F. ter Braak, J. A. Vrugt, Stat. Comput. 18 (2008)
435) and an autoregressive one (S. L. Cotter et al., Stat. Sci. 28 (2013) 424) all travel well.  Walkers of
one ensemble are not chains: convergence is judged between ensembles that never exchange anything.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.agreement import largest_r_hat
from motorfit.inference.fast import FastDraws
from motorfit.inference.target import Target

__all__ = ["EnsembleDraws", "ensemble_draws"]

Array = npt.NDArray[np.float64]

ENSEMBLES = 2
_AUTOCORRELATION_TIMES = 50.0
"""Steps of each walker, in autocorrelation times; more where few walkers would leave fewer independent
positions than draws are kept."""
_WINDOW = 5.0
_R_HAT = 1.01
_WORK = 1e9
"""Blocks modelled in all before a run that has not converged is given up: minutes."""


@dataclass(frozen=True)
class EnsembleDraws:
    """Draws of the reference path.

    Attributes
    ----------
    z : (ENSEMBLES, draws, coordinates)
    log_density : (ENSEMBLES, draws)
    autocorrelation : longest integrated autocorrelation time [steps]
    steps : of each walker, burn-in left out
    r_hat : largest split R̂ between ensembles
    acceptance : mean over walkers
    converged : whether both criteria were met within the allowed steps
    evaluations : of the model
    """

    z: Array
    log_density: Array
    autocorrelation: float
    steps: int
    r_hat: float
    acceptance: float
    converged: bool
    evaluations: int


def _autoregressive(step: float) -> Callable[[Array, np.random.RandomState], tuple[Array, Array]]:
    def propose(x: Array, rng: np.random.RandomState) -> tuple[Array, Array]:
        new = math.sqrt(1.0 - step**2) * x + step * rng.standard_normal(x.shape)
        return new, 0.5 * (np.sum(new**2, axis=1) - np.sum(x**2, axis=1))

    return propose


def _moves() -> list[tuple[Any, float]]:
    """Anew, far and near: the better the proposal fits, the farther steps are accepted; and those that learn
    from the other walkers."""
    from emcee import moves

    return [
        (moves.MHMove(_autoregressive(1.0)), 0.45),
        (moves.MHMove(_autoregressive(0.7)), 0.2),
        (moves.MHMove(_autoregressive(0.35)), 0.2),
        (moves.DEMove(), 0.05),
        (moves.DESnookerMove(), 0.05),
        (moves.StretchMove(), 0.05),
    ]


def _walk(samplers: list[Any], steps: int) -> None:
    """All of them side by side: most of a step is compiled code that runs without the interpreter's lock."""
    with ThreadPoolExecutor(len(samplers)) as threads:
        list(threads.map(lambda s: s.run_mcmc(None, steps, skip_initial_state_check=True), samplers))


def ensemble_draws(
    target: Target, fast: FastDraws, rng: np.random.Generator, draws: int, *, most_steps: int = 6000,
    progress: Callable[[float], None] = lambda share: None,
) -> EnsembleDraws:  # fmt: skip
    """Draw from the posterior by emcee, started from the fast path.

    Parameters
    ----------
    target : the posterior
    fast : draws to start from, and the proposal whose coordinates are used
    rng : random generator
    draws : how many draws to keep, a multiple of ENSEMBLES
    most_steps : of each walker, fewer for large problems; then the result says that it did not converge
    progress : told the share of the work done

    Returns
    -------
    EnsembleDraws
    """
    import emcee

    proposal = fast.proposal
    size = proposal.normals
    walkers = 2 * size + 2
    most_steps = int(np.clip(_WORK / (ENSEMBLES * walkers * target.flat.size), 400, most_steps))

    def log_probability(x: Array) -> Array:
        with np.errstate(all="ignore"):  # far moves end where nothing is finite, and are refused there
            drawn = proposal.draw(np.clip(x, -37.0, 37.0))
            out = target.log_density(drawn.z) - drawn.log_q - 0.5 * np.sum(x**2, axis=1)
        return np.where(np.isfinite(out), out, -np.inf)

    samplers = []
    for group in range(ENSEMBLES):
        sampler = emcee.EnsembleSampler(walkers, size, log_probability, moves=_moves(), vectorize=True)
        sampler.random_state = np.random.RandomState(int(rng.integers(2**31))).get_state()
        pool = fast.normal[group]
        # emcee accepts a start of -inf in silence and never moves from it: only finite ones are taken
        start = pool[rng.choice(pool.shape[0], walkers, replace=pool.shape[0] < walkers)]
        start = start + 1e-3 * rng.standard_normal(start.shape)
        if not np.isfinite(log_probability(start)).all():
            start = np.resize(pool, start.shape)
        samplers.append(sampler)
        sampler.run_mcmc(start, 40, skip_initial_state_check=True)
        sampler.reset()
    times = max(_AUTOCORRELATION_TIMES, draws / (ENSEMBLES * walkers))
    done, length = 0, 100
    while True:
        _walk(samplers, length)
        done += length
        chains = np.stack([s.get_chain() for s in samplers])  # (ensembles, steps, walkers, size)
        tau = max(_autocorrelation(chain) for chain in chains)
        r_hat = _r_hat(chains)
        converged = done > times * tau and r_hat <= _R_HAT
        progress(min(1.0, done / max(times * tau, 1.0)))
        if converged or done >= most_steps:
            break
        length = int(min(max(100, times * tau * 1.05 - done), most_steps - done, 500))
    keep = draws // ENSEMBLES
    flat = chains.reshape(ENSEMBLES, -1, size)
    # evenly spread over steps, all walkers: thinning loses nothing within one autocorrelation time
    pick = np.linspace(0, flat.shape[1] - 1, keep).round().astype(np.int64)
    x = flat[:, pick]
    drawn = proposal.draw(x.reshape(-1, size))
    return EnsembleDraws(
        drawn.z.reshape(ENSEMBLES, keep, -1), target.log_density(drawn.z).reshape(ENSEMBLES, keep), tau, done,
        r_hat,
        float(np.mean([s.acceptance_fraction.mean() for s in samplers])), bool(converged),
        ENSEMBLES * walkers * (done + 40),
    )  # fmt: skip


def _autocorrelation(chain: Array) -> float:
    """Longest integrated autocorrelation time over parameters, averaged over walkers [steps].

    As `emcee.autocorr.integrated_time` has it (the window of A. Sokal, in Functional Integration, Springer
    1997, p. 131), for all walkers in one transform.
    """
    steps = chain.shape[0]
    centred = chain - chain.mean(axis=0)
    spectrum = np.fft.rfft(centred, n=2 * steps, axis=0)
    covariance = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, axis=0)[:steps]
    correlation = (covariance / np.maximum(covariance[0], 1e-300)).mean(axis=1)
    sums = 2.0 * np.cumsum(correlation, axis=0) - 1.0
    far = np.arange(steps)[:, None] >= _WINDOW * sums
    ends = np.where(far.any(axis=0), far.argmax(axis=0), steps - 1)
    return float(sums[ends, np.arange(sums.shape[1])].max())


def _r_hat(chains: Array) -> float:
    """Largest R̂ over parameters, each half of each ensemble being one chain (all walkers together)."""
    steps = chains.shape[1] // 2 * 2
    halves = chains[:, :steps].reshape(2 * chains.shape[0], steps // 2 * chains.shape[2], chains.shape[3])
    return largest_r_hat(halves)
