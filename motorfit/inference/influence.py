"""What each run weighs in a posterior: draws reweighted as if it had not been made.

Pareto-smoothed leave-one-group-out (A. Vehtari, A. Gelman, J. Gabry, Stat. Comput. 27 (2017) 1413,
doi:10.1007/s11222-016-9696-4, with a run for an observation).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.sensitivity import trusted_weights
from motorfit.inference.target import Target

__all__ = ["influences", "run_log_likelihoods"]

Array = npt.NDArray[np.float64]

_TRUSTED = 0.7


def run_log_likelihoods(target: Target, rows: Array) -> Array:
    """Log-likelihood of every run up to a constant, (runs, draws), from residuals (draws, rows) of draws.

    Steady rows share an unknown scatter; a run's part is its share of the squares of their marginal.
    """
    out = np.zeros((target.flat.first.size - 1, rows.shape[0]))
    for r, (a, b) in enumerate(pairwise(target.flat.first)):
        slots = target.slot[a:b]
        out[r] = -0.5 * np.sum(rows[:, slots[slots >= 0]] ** 2, axis=1)
    return out


def influences(target: Target, rows: Array, parameters: Mapping[str, Array]) -> list[dict[str, Any]]:
    """How every run pulls.

    Parameters
    ----------
    target : the posterior
    rows : (draws, rows) residuals of draws
    parameters : name -> (draws,) of the same draws

    Returns
    -------
    One entry a run: `run`, `pareto_k` of the weights that take it out; `misfit`, its median sum of squares
    over its number of readings (1 is what its noise explains); and, where k̂ ≤ 0.7, `moves`, the parameter
    that moves most without it and by how many of its standard deviations.  A larger k̂ says that the run
    weighs so much that reweighting cannot say what the fit would be without it; a refit can.
    """
    likelihood = run_log_likelihoods(target, rows)
    out = []
    for r, run in enumerate(target.graph.runs):
        a, b = target.flat.first[r], target.flat.first[r + 1]
        readings = int(np.count_nonzero(target.isd[a:b] > 0.0))
        w, k = trusted_weights(-likelihood[r])
        entry: dict[str, Any] = {
            "run": run.run.id,
            "pareto_k": round(k, 2) if np.isfinite(k) else None,
            "misfit": round(float(np.median(-2.0 * likelihood[r])) / max(readings, 1), 2),
        }
        if k <= _TRUSTED:
            shift = {
                name: (float(np.average(values, weights=w)) - float(values.mean())) / float(values.std())
                for name, values in parameters.items()
                if values.std() > 0.0
            }
            if shift:
                most = max(shift, key=lambda name: abs(shift[name]))
                entry["moves"] = {"of": most, "shift_sd": round(shift[most], 2)}
        out.append(entry)
    return out
