"""Scores of an ensemble prediction against what was then observed.

Blocks of one run are far from independent: one wrong gain shifts them all.  How far a coverage may stray is
therefore taken from the ensemble itself: every member in turn plays the observation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Coverage", "coverage", "crps", "expected_crps"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Coverage:
    """How often a band held the observation.

    Attributes
    ----------
    interval : probability inside the band [1]
    share : of blocks inside [1]
    blocks : number of blocks
    effective : number of independent blocks that would scatter as much [1]
    low, high : central 90 % of the shares that the prediction itself would give [1]
    """

    interval: float
    share: float
    blocks: int
    effective: float
    low: float
    high: float

    @property
    def expected(self) -> bool:
        """Whether the share is one that the prediction allows."""
        return self.low <= self.share <= self.high


def crps(ensemble: Array, observed: Array) -> Array:
    """Continuous ranked probability score of each block, in the unit of the reading; smaller is better.

    Parameters
    ----------
    ensemble : (members, blocks)
    observed : (blocks,)

    Returns
    -------
    (blocks,) mean |x - y| - Σᵢⱼ |xᵢ - xⱼ| / (2 m (m - 1)), unbiased in the number of members m (M. Zamo,
    P. Naveau, Math. Geosci. 50 (2018) 209, doi:10.1007/s11004-017-9709-7).
    """
    return np.asarray(np.abs(ensemble - observed).mean(axis=0) - expected_crps(ensemble))


def expected_crps(ensemble: Array) -> Array:
    """Score of each block (blocks,) that observations drawn from the ensemble (members, blocks) would get."""
    m = ensemble.shape[0]
    ranked = np.sort(ensemble, axis=0)
    # Σᵢⱼ |xᵢ - xⱼ| / 2 of sorted values is Σ (2 i - m + 1) x₍ᵢ₎, i from 0
    weight = 2.0 * np.arange(m) - m + 1.0
    return np.asarray(weight @ ranked / (m * (m - 1.0)))


def coverage(ensemble: Array, observed: Array, interval: float) -> Coverage:
    """Coverage of equal-tailed bands.

    Parameters
    ----------
    ensemble : (members, blocks)
    observed : (blocks,)
    interval : probability inside

    Returns
    -------
    Coverage
    """
    tail = 0.5 * (1.0 - interval)
    low, high = np.quantile(ensemble, [tail, 1.0 - tail], axis=0)
    own = ((ensemble >= low) & (ensemble <= high)).mean(axis=1)
    share = float(((observed >= low) & (observed <= high)).mean())
    blocks = observed.size
    spread = float(own.var())
    effective = interval * (1.0 - interval) / spread if spread > 0.0 else float(blocks)
    least, most = np.quantile(own, [0.05, 0.95])
    return Coverage(
        interval, share, blocks, float(np.clip(effective, 1.0, blocks)), float(least), float(most)
    )
