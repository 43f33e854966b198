"""Forward differences of a posterior's residuals, one batch of the compiled model."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from motorfit.inference.target import Target

__all__ = ["derivatives", "residuals_about"]

Array = npt.NDArray[np.float64]

_STEP = 1e-6
"""In standardised coordinates [-]."""


def residuals_about(target: Target, z: Array, moved: npt.NDArray[np.bool_] | None = None) -> Array:
    """Residuals at a position, and row by row after it with one coordinate a step further.

    Parameters
    ----------
    target : the posterior
    z : (coordinates,) position [-]
    moved : (coordinates,) which coordinates are moved; all when left out

    Returns
    -------
    (1 + moved coordinates, rows) [-]
    """
    steps = _STEP * (np.eye(z.size) if moved is None else np.eye(z.size)[moved])
    return target.residuals(np.concatenate([z[None, :], z + steps]))


def derivatives(about: Array) -> Array:
    """Derivatives (rows, moved coordinates) of what `residuals_about` gave, or of a function of it."""
    out: Array = (about[1:] - about[0]).T / _STEP
    return out
