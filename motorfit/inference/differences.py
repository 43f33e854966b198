"""Residuals of a posterior with their derivatives, by differences, in one batch of the compiled model."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from motorfit.inference.target import Target

__all__ = ["Linear", "linearise"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

_FORWARD = 1e-5
"""Step to one side, in standardised coordinates [-]."""

_STEEPEST = 1e15
"""Of what a search takes for a derivative [-]: its square still has a sum."""


@dataclass(frozen=True)
class Linear:
    """Residuals about a position, in d coordinates that were moved [-].

    Attributes
    ----------
    data : (data rows,) residuals of the readings; not finite where the model has no answer
    changes : (colours, data rows) what steps in all coordinates of a colour together change of them
    step : (d,) of each coordinate
    places : (d,) colour of each coordinate
    reach : (d, runs) which runs it bears on
    cuts : (runs + 1,) first data row of each run
    beliefs : (beliefs,) residuals of priors and of what is stated on combinations
    held : (beliefs, d) their derivatives
    """

    data: Array
    changes: Array
    step: Array
    places: Integers
    reach: npt.NDArray[np.bool_]
    cuts: Integers
    beliefs: Array
    held: Array

    @property
    def residuals(self) -> Array:
        """(rows,) of data and beliefs."""
        return np.concatenate([self.data, self.beliefs])

    @property
    def jacobian(self) -> Array:
        """(rows, d) derivatives of `residuals`."""
        own = np.repeat(self.reach, np.diff(self.cuts), axis=1)
        slopes = self.changes[self.places] / self.step[:, None]
        return np.concatenate([np.where(own, slopes, 0.0).T, self.held])

    def products(self, data: Array, rate: Array, beliefs: Array) -> tuple[Array, Array]:
        """JᵀJ (d, d) and Jᵀr (d,) of such residuals, those of `data` growing `rate` times as fast as these.

        A run at a time: most coordinates bear on few of many.
        """
        held = _usable(self.held)
        gram, pull = held.T @ held, held.T @ beliefs
        for run, (a, b) in enumerate(pairwise(self.cuts)):
            own = np.flatnonzero(self.reach[:, run])
            part = _usable(self.changes[self.places[own], a:b] / self.step[own, None]) * rate[a:b]
            gram[np.ix_(own, own)] += part @ part.T
            pull[own] += part @ data[a:b]
        return gram, pull


def linearise(
    target: Target, z: Array, moved: npt.NDArray[np.bool_] | None = None, *, steps: Array | None = None
) -> Linear:
    """Residuals at a position and their derivatives.

    Parameters
    ----------
    target : the posterior
    z : (coordinates,) position [-]
    moved : (coordinates,) which coordinates are moved; all when left out
    steps : (moved coordinates,) [-] of differences to both sides, at twice the cost; left out, to one side

    Readings are asked for once a colour (`motorfit.inference.reach`), beliefs, which cost nothing, once a
    coordinate.
    """
    which = np.arange(z.size) if moved is None else np.flatnonzero(moved)
    colours, places = np.unique(target.graph.colours[which], return_inverse=True)
    central = steps is not None
    step = np.full(which.size, _FORWARD) if steps is None else steps
    apart = np.zeros((which.size, z.size))
    apart[np.arange(which.size), which] = step
    together = np.zeros((colours.size, z.size))
    together[places, which] = step
    data = target.data_residuals(_around(z, together, central))
    beliefs = target.belief_residuals(_around(z, apart, central))
    return Linear(
        data[0], _changes(data, central), step, places, target.graph.reach[which], target.cuts, beliefs[0],
        (_changes(beliefs, central) / step[:, None]).T,
    )  # fmt: skip


def _usable(slopes: Array) -> Array:
    """Derivatives as far as a step can be built on them: none where the model has no answer."""
    return np.clip(np.where(np.isnan(slopes), 0.0, slopes), -_STEEPEST, _STEEPEST)


def _around(z: Array, steps: Array, central: bool) -> Array:
    return np.concatenate([z[None, :], z + steps, z - steps] if central else [z[None, :], z + steps])


def _changes(rows: Array, central: bool) -> Array:
    """What steps change, (steps, rows): residuals at a position, after steps, and, if `central`, before."""
    with np.errstate(all="ignore"):  # a search may pass absurd places, where residuals are not finite
        if not central:
            return np.asarray(rows[1:] - rows[0])
        after, before = np.split(rows[1:], 2)
        return np.asarray(0.5 * (after - before))
