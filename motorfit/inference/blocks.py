"""What of a campaign belongs to one motor alone, and what is shared.

Given the bench, the controller and the propellers that several motors turned, the motors know nothing of one
another: the posterior is a shared factor times one of each motor.  Samplers move the motors side by side, and
what one motor makes improbable costs the others nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.bench.reduce import BlockedRun

__all__ = ["Blocks", "blocks_of", "one_block"]

Integers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Blocks:
    """Block 0 is shared, each other one is a motor's own.

    Attributes
    ----------
    of_coordinate : (coordinates,) block of each
    of_run : (runs,) block on which its readings hang, besides the shared one
    owners : motor, propeller or flywheel -> block of its coordinates
    size : number of blocks
    """

    of_coordinate: Integers
    of_run: Integers
    owners: dict[str, int]
    size: int


def one_block(coordinates: int, runs: int) -> Blocks:
    """All shared."""
    return Blocks(np.zeros(coordinates, dtype=np.int64), np.zeros(runs, dtype=np.int64), {}, 1)


def blocks_of(names: Sequence[str], reach: npt.NDArray[np.bool_], runs: Sequence[BlockedRun]) -> Blocks:
    """Split a campaign by its motors; one block where there is but one.

    Parameters
    ----------
    names : of the coordinates
    reach : (coordinates, runs) which runs each bears on
    runs : reduced runs

    Returns
    -------
    Blocks.  Tables share one scatter, so that what bears on a table of several motors is shared.
    """
    motors = list(dict.fromkeys(r.run.motor for r in runs))
    if len(motors) < 2:
        return one_block(len(names), len(runs))
    of_motor = np.array([motors.index(r.run.motor) for r in runs])
    of_coordinate, of_run = np.zeros(len(names), dtype=np.int64), np.zeros(len(runs), dtype=np.int64)
    numbers: dict[int, int] = {}  # of the motors that have coordinates of their own
    owners: dict[str, int] = {}
    for i, name in enumerate(names):
        met = np.unique(of_motor[reach[i]])
        if met.size == 1:
            of_coordinate[i] = numbers.setdefault(int(met[0]), len(numbers) + 1)
            of_run[reach[i]] = of_coordinate[i]
        # the same for all of one owner
        owners[name.removesuffix("]").partition("[")[2]] = int(of_coordinate[i])
    return Blocks(of_coordinate, of_run, owners, len(numbers) + 1)
