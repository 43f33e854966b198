"""Whether chains that never exchange draws agree."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["largest_r_hat"]


def largest_r_hat(chains: npt.NDArray[np.float64]) -> float:
    """Largest R̂ over coordinates of (chains, draws, coordinates) [1].

    √(1 + B/W) with B the variance of the chains' means and W their mean variance (A. Gelman, D. B. Rubin,
    Stat. Sci. 7 (1992) 457, without the small-sample terms).
    """
    within = chains.var(axis=1, ddof=1).mean(axis=0)
    between = chains.mean(axis=1).var(axis=0, ddof=1)
    return float(np.sqrt(1.0 + between / within).max())
