"""Motor, controller, supply and propeller as one row of plain numbers a draw, for compiled code."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.physics.drive import Drive, Load
from motorfit.physics.values import PhysicsError

__all__ = ["columns_of", "rows_of", "shared_out", "stacked"]

Array = NDArray[np.float64]

# fmt: off
(R_KE, R_KT, R_R, R_I0, R_I1, R_I2, R_SAT, R_RC, R_IQ, R_LIMIT, R_DUTY_S, R_DUTY_C, R_DUTY_E, R_RS,
 R_THRUST, R_TORQUE, R_AT, R_AQ, R_LOG_REF) = range(19)
# fmt: on
N_ROW = 19
"""Slots of a row: SI; R_SAT is 1/I_s² [1/A²], R_THRUST and R_TORQUE are T/ω² and Q/ω² at the reference speed,
R_LOG_REF its logarithm."""

_THREADED_ABOVE = 20_000
"""Points above which threads pay for their start."""


def columns_of(drive: Drive, load: Load | None) -> list[ArrayLike]:
    """Return the N_ROW columns of a drive and its load, each a number or (draws,); no load is all zeros."""
    saturation = np.asarray(drive.saturation_current, dtype=np.float64)
    columns: list[ArrayLike] = [
        drive.k_e,
        drive.k_t,
        drive.resistance,
        drive.drag_static,
        drive.drag_slope,
        drive.drag_windage,
        1.0 / (saturation * saturation),
        drive.controller_resistance,
        drive.idle_current,
        drive.current_limit,
        drive.duty_slope,
        drive.duty_curvature,
        drive.duty_cubic,
        drive.source_resistance,
    ]
    if load is None:
        return [*columns, 0.0, 0.0, 0.0, 0.0, 0.0]
    columns += [load.thrust_factor(), load.torque_factor(), load.thrust_exponent, load.torque_exponent]
    return [*columns, np.log(load.reference_speed())]


def stacked(drive: Drive, load: Load | None, *more: ArrayLike) -> Array:
    """Return (N_ROW + len(more), draws): one column a draw, further rows of the caller's at its end.

    Raises
    ------
    PhysicsError : for draws of unequal number
    """
    columns = [*columns_of(drive, load), *more]
    try:
        wide = np.broadcast_arrays(*(np.atleast_1d(np.asarray(c, dtype=np.float64)) for c in columns))
    except ValueError as error:
        sizes = sorted({np.size(c) for c in columns})
        raise PhysicsError(
            f"parameters have {' and '.join(str(n) for n in sizes)} draws; allowed is one "
            "number of draws, or single values. Take motor, controller and propeller draws from the same fit."
        ) from error
    return np.stack(wide)


def rows_of(drive: Drive, load: Load | None, *more: ArrayLike) -> Array:
    """Return (draws, N_ROW + len(more)): what `stacked` returns, one row a draw; PhysicsError likewise."""
    return np.ascontiguousarray(stacked(drive, load, *more).T)


def shared_out(work: Callable[[int, int], None], draws: int, points: int) -> None:
    """Call ``work(first, last)`` over all draws, on several cores where there are points enough."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    workers = 1 if draws * points < _THREADED_ABOVE else min(cores, 8, draws)
    if workers == 1:
        work(0, draws)
        return
    from concurrent.futures import ThreadPoolExecutor

    edges = np.linspace(0, draws, workers + 1).astype(int).tolist()
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(lambda span: work(*span), itertools.pairwise(edges)))
