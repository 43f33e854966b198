"""Late channels: found from what an optimum on time leaves, by shifting one channel at a time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from motorfit.inference.graph import MEASURED
from motorfit.inference.target import Target

__all__ = ["find_delays"]

Array = npt.NDArray[np.float64]

_GRID_S = np.concatenate([-np.geomspace(0.03, 0.001, 7), np.geomspace(0.001, 0.16, 20), [0.0]])
_GAIN = 40.0
"""Fall of the sum of squares from which a channel counts as late: far beyond chance over the grid, and beyond
what a small misfit of the model's dynamics gives."""


def find_delays(target: Target, z: Array) -> dict[str, float]:
    """Channels that are late, and by how much [s].

    Parameters
    ----------
    target : the posterior with every channel on time and its noise learned
    z : (coordinates,) its optimum

    Returns
    -------
    channel -> delay [s], only where the logs show one
    """
    found = {}
    for c, name in enumerate(MEASURED[:-1]):
        if not (target.isd[target.flat.logged, c] > 0.0).any():
            continue
        chi2 = np.array([target.chi2_with_delay(z, c, d) for d in _GRID_S])
        best = int(np.argmin(chi2))
        if chi2[-1] - chi2[best] > _GAIN:
            found[name] = float(_GRID_S[best])
    return found
