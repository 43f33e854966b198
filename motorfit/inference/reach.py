"""Which runs each coordinate bears on, and which coordinates can therefore be moved together.

A propeller's drag says nothing of the runs without it, nor a motor's resistance of another motor's runs.
Coordinates that share no run are moved in one evaluation, and each row's change belongs to the one that bears
on it (A. R. Curtis, M. J. D. Powell, J. K. Reid, IMA J. Appl. Math. 13 (1974) 117): the derivatives of a
campaign of many motors cost no more evaluations than those of one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from motorfit.bench.models import Run
from motorfit.bench.reduce import BlockedRun

__all__ = ["LIMIT", "colours_of", "reach_of"]

Flags = npt.NDArray[np.bool_]

LIMIT = "current_limit"
"""Coordinates of the controller's limits are named by their nominal value, not by an owner."""


def reach_of(names: Sequence[str], runs: Sequence[BlockedRun]) -> Flags:
    """Which runs the readings of which follow a coordinate: (coordinates, runs).

    Parameters
    ----------
    names : of the coordinates, ``parameter`` or ``parameter[owner]``
    runs : reduced runs; the rows of tables share one scatter and so belong together

    What is of no motor, propeller, flywheel or run is the bench's, and bears on all of them.
    """
    out = np.ones((len(names), len(runs)), dtype=bool)
    tables = np.array([r.mode == "at-speed" for r in runs], dtype=bool)
    for i, name in enumerate(names):
        parameter, _, owner = name.removesuffix("]").partition("[")
        if owner and parameter != LIMIT:
            out[i] = [owner in _owners(r.run) for r in runs]
            if out[i][tables].any():
                out[i] |= tables
    return out


def _owners(run: Run) -> tuple[str, ...]:
    return tuple(x for x in (run.id, run.motor, run.propeller, run.flywheel) if x is not None)


def colours_of(reach: Flags) -> npt.NDArray[np.int64]:
    """A colour for each coordinate, (coordinates,), such that two of one colour share no run.

    The widest reach is coloured first, each with the lowest colour that is free.
    """
    taken: list[Flags] = []  # runs that each colour already bears on
    out = np.zeros(reach.shape[0], dtype=np.int64)
    for i in np.argsort(-np.count_nonzero(reach, axis=1), kind="stable"):
        free = (k for k, runs in enumerate(taken) if not (runs & reach[i]).any())
        k = next(free, len(taken))
        if k == len(taken):
            taken.append(np.zeros(reach.shape[1], dtype=bool))
        taken[k] |= reach[i]
        out[i] = k
    return out
