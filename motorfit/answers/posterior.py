"""What an answer needs from a stored fit, and how its draws are taken out.

Draws keep their order: draw i of one motor belongs with draw i of the bench and of every other
motor of the same campaign, so nothing here shuffles.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class FitLike(Protocol):
    """One motor's posterior as the archive returns it.

    ``draws`` and ``prior`` hold arrays (chain, draw) or (chain, draw, propeller) in the units of the
    quantities table; ``propellers`` names the last axis.
    """

    @property
    def motor(self) -> str:
        """Motor id."""

    @property
    def fit_id(self) -> str:
        """Id of the stored fit."""

    @property
    def propellers(self) -> tuple[str, ...]:
        """All propeller ids of the campaign, in the order of the last axis."""

    @property
    def draws(self) -> Mapping[str, NDArray[Any]]:
        """Posterior draws by parameter name."""

    @property
    def prior(self) -> Mapping[str, NDArray[Any]]:
        """Prior draws by parameter name."""

    @property
    def constant(self) -> Mapping[str, Any]:
        """Facts of the campaign: air, motor, propellers, tested envelope, controller."""

    @property
    def attributes(self) -> Mapping[str, Any]:
        """Provenance and diagnostics."""


class FitWithData(FitLike, Protocol):
    """A fit together with the blocks it saw and the posterior's replicas of them."""

    @property
    def observed(self) -> Mapping[str, NDArray[Any]]:
        """Block means, (block,), with ``block_run``, ``block_start_s``, ``block_end_s``."""

    @property
    def predictive(self) -> Mapping[str, NDArray[Any]]:
        """Posterior predictive, (draw, block), by channel."""


def flat(array: NDArray[Any]) -> FloatArray:
    """Join chains: (chain, draw, ...) to (chain·draw, ...), order kept, as float64."""
    values = np.asarray(array, dtype=np.float64)
    return values.reshape((-1, *values.shape[2:]))


def count(fit: FitLike) -> int:
    """Return the number of posterior draws over all chains."""
    first = next(iter(fit.draws.values()))
    return int(first.shape[0] * first.shape[1])


def parameter(fit: FitLike, name: str, propeller: str | None = None) -> FloatArray | None:
    """Return the draws (S,) of one parameter, or None where the fit does not hold it."""
    array = fit.draws.get(name)
    if array is None:
        return None
    values = flat(array)
    if values.ndim == 1:
        return values
    if propeller is None:
        return None
    return np.ascontiguousarray(values[:, fit.propellers.index(propeller)])
