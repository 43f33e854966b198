"""A gradient sampler on the same posterior: nutpie's NUTS, whitened by the Laplace approximation.

The density is the compiled one of the fit itself; it has no derivative of its own, so a gradient is a
difference of one batch of it, one draw a coordinate, on all cores.  Bounded coordinates are reflected into
their bounds, whitening is given for nothing, and the start is the optimum.  What a derivative in closed form
would save is at most the factor of a gradient's cost over a density's, which is printed with the result.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.common import mixing
from benchmarks.peers import Sampled
from motorfit.inference.optimum import Optimum, bounds_of
from motorfit.inference.target import Target

__all__ = ["nutpie_nuts"]

Array = npt.NDArray[np.float64]

_STEP = 1e-5
_CHAINS = 2


def _reflected(z: Array, bounds: Array) -> Array:
    """Positions folded into their bounds, whose density is that of the folded line."""
    low, high = bounds[:, 0], bounds[:, 1]
    z = np.where(z < low, 2.0 * low - z, z)
    return np.where(z > high, 2.0 * high - z, z)


def nutpie_nuts(target: Target, optimum: Optimum, seed: int, seconds: float) -> Sampled:
    """NUTS for about so many seconds of sampling, warm-up included; two chains."""
    import nutpie
    from nutpie.compiled_pyfunc import from_pyfunc

    d = optimum.z.size
    bounds = np.array([bounds_of(c.prior) for c in target.graph.coordinates])
    moves = np.concatenate([np.zeros((1, d)), _STEP * np.eye(d)])
    calls = 0

    def place(x: Array) -> Array:
        return _reflected(optimum.z + x @ optimum.factor.T, bounds)

    def make_logp() -> Callable[[Array], tuple[float, Array]]:
        def logp(x: Array) -> tuple[float, Array]:
            nonlocal calls
            calls += 1
            density = target.log_density(place(x[None, :] + moves))
            if not np.isfinite(density).all():
                raise ValueError("outside")
            return float(density[0]), np.asarray((density[1:] - density[0]) / _STEP)

        return logp

    def make_expand(*_: Any) -> Callable[[Array], dict[str, Array]]:
        return lambda x: {"z": place(x[None, :])[0]}

    model = from_pyfunc(
        d, make_logp, make_expand, [np.dtype(np.float64)], [(d,)], ["z"],
        make_initial_point_fn=lambda s: 0.1 * np.random.default_rng(s).standard_normal(d),
    )  # fmt: skip
    tune = draws = 30
    while True:
        calls = 0
        begin, spent = time.perf_counter(), time.process_time()
        trace = nutpie.sample(
            model, draws=draws, tune=tune, chains=_CHAINS, cores=1, seed=seed, progress_bar=False
        )
        wall, cpu = time.perf_counter() - begin, time.process_time() - spent
        if wall > 0.5 * seconds or draws >= 4000:
            break
        grow = min(max(0.9 * seconds / wall, 1.5), 8.0)
        tune, draws = int(min(grow * tune, 1000)), int(grow * draws)
    chain = np.asarray(trace.posterior["z"])  # (chains, draws, coordinates)
    ess, r_hat = mixing(chain)
    name = f"nutpie NUTS, {calls / (_CHAINS * (tune + draws)):.0f} gradients a draw, each {d + 1} densities"
    return Sampled(name, wall, cpu, draws, _CHAINS, ess, r_hat, 1.0)
