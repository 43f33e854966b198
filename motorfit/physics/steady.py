"""Steady operating points: the speed at which motor torque and propeller torque balance.

For every draw of the parameters and every point of a grid of throttles: speed, currents, voltages, thrust and
torque.

At a speed ω the current that drives is I = (d (E - R_s I_q) - K_e ω)/(R + R_c + d² R_s), or the limit where
that is larger; it falls as ω rises while the propeller's torque grows, so the balance

    F(ω) = K_t/(1 + (I/I_s)²) (I - I_0(ω)) - Q_p(ω) = 0

has one root (in deep saturation, I > I_s, there may be more; one of them is given). A quadratic gives the
start, from the third point on what the points before it foresee. Halley's method does the rest, and where its
steps do not settle, Newton steps kept inside a shrinking bracket (the safeguarded Newton method, e.g.
W. H. Press et al., Numerical Recipes, 3rd ed. 2007, section 9.4). `motorfit.physics.sweep` does the work.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.physics.block import OUT
from motorfit.physics.drive import Drive, Load
from motorfit.physics.rows import shared_out, stacked
from motorfit.physics.sweep import fresh, sweep
from motorfit.physics.values import PhysicsError, require_between

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OperatingPoints:
    """Steady states, each array (draws, grid).

    Attributes
    ----------
    speed : [rad/s];  motor_current : [A];  bus_current : [A];  bus_voltage : [V];  motor_voltage : [V]
    thrust : [N];  torque : at the shaft [N m];  electrical_power : into the controller [W]
    mechanical_power : at the shaft [W];  duty : in force, after limiting [1]
    limited : True where the current limit holds;  turning : False where the motor does not start
    """

    speed: Array
    motor_current: Array
    bus_current: Array
    bus_voltage: Array
    motor_voltage: Array
    thrust: Array
    torque: Array
    electrical_power: Array
    mechanical_power: Array
    duty: Array
    limited: NDArray[np.bool_]
    turning: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Part:
    """Some neighbouring points of a grid, from the ``first`` on.

    ``values``, each (points, draws), are those asked for, in that order; the next part overwrites them.
    ``limited`` and ``turning``, (points, draws), are as in `OperatingPoints`, and overwritten likewise.
    """

    first: int
    values: Array
    limited: NDArray[np.bool_]
    turning: NDArray[np.bool_]


SOLVED = (
    "speed",
    "motor_current",
    "bus_current",
    "bus_voltage",
    "motor_voltage",
    "thrust",
    "torque",
    "duty",
    "electrical_power",
    "mechanical_power",
    "efficiency",
    "thrust_per_watt",
)
"""What is solved for, in the order of the compiled code. The last two are shaft power [1] and thrust [N/W]
over the power into the controller, NaN where none goes in."""


def in_parts(
    throttle: Array, supply_voltage: Array, columns: Array, names: Sequence[str], points: int
) -> Iterator[Part]:
    """Settled states like `operating_points`, a few points at a time, so that they stay in the caches.

    Parameters
    ----------
    throttle : (grid,) [1], 0 to 1
    supply_voltage : (1 or draws, grid) [V]
    columns : (N_ROW, draws) of `motorfit.physics.rows.stacked`
    names : some of SOLVED
    points : how many at a time
    """
    draws, size = columns.shape[1], min(points, throttle.size)
    want = np.array([SOLVED.index(name) for name in names])
    kept, before = fresh(columns), np.full(3, math.nan)
    out, flags = np.empty((want.size, size, draws)), np.empty((2, size, draws), dtype=np.bool_)
    for first in range(0, throttle.size, size):
        x = throttle[first : first + size]
        supply = np.ascontiguousarray(supply_voltage[:, first : first + size])
        sweep(columns, kept, before, x, supply, want, out, flags, 0, draws)
        before = np.concatenate((x[:-4:-1], before))[:3]
        yield Part(first, out[:, : x.size], flags[0, : x.size], flags[1, : x.size])


def operating_points(
    throttle: ArrayLike, supply_voltage: ArrayLike, drive: Drive, load: Load | None = None
) -> OperatingPoints:
    """Where a motor settles, for every draw and every throttle.

    Parameters
    ----------
    throttle : (grid,) or a number [1], 0 to 1
    supply_voltage : (grid,), (draws, grid), (draws, 1) or a number, open-circuit voltage of the supply [V],
        above 0
    drive : motor, controller and source resistance, (draws,)
    load : propeller, (draws,); None for a bare shaft

    Returns
    -------
    OperatingPoints : arrays (draws, grid). Where the torque does not overcome the static drag the speed is 0,
        `turning` is False and the current is that of the locked winding, held by the limit.

    Raises
    ------
    PhysicsError : for a throttle outside 0..1, a voltage not above 0, or draws of unequal number
    """
    x = np.atleast_1d(np.asarray(throttle, dtype=np.float64))
    e = np.atleast_1d(np.asarray(supply_voltage, dtype=np.float64))
    require_between("throttle", x, 0.0, 1.0, "(1)", "Give throttle as a share of full, 0.5 for 50 %.")
    require_between(
        "supply voltage", e, math.ulp(0.0), 1e4, "V", "Give the open-circuit voltage of the supply."
    )
    p = stacked(drive, load)
    if p.shape[1] == 1 and e.ndim == 2:
        p = np.repeat(p, e.shape[0], axis=1)
    try:
        if x.ndim > 1 or e.ndim > 2 or (e.ndim == 2 and e.shape[0] not in (1, p.shape[1])):
            raise ValueError
        grid = np.broadcast_shapes(x.shape, e.shape[-1:])
        x = np.ascontiguousarray(np.broadcast_to(x, grid))
        e = np.ascontiguousarray(np.broadcast_to(e, (*e.shape[:-1], *grid)))
    except ValueError:
        raise PhysicsError(
            f"throttle has shape {x.shape} and supply voltage {e.shape}; allowed are numbers or lists of one "
            "length, and one voltage a draw, (draws, 1). Give one voltage, or one a throttle."
        ) from None
    draws = p.shape[1]
    out, flags = np.empty((OUT - 2, x.size, draws)), np.empty((2, x.size, draws), dtype=np.bool_)
    supply, kept, before, want = e.reshape(-1, x.size), fresh(p), np.full(3, math.nan), np.arange(OUT - 2)
    shared_out(lambda a, b: sweep(p, kept, before, x, supply, want, out, flags, a, b), draws, x.size)
    named = {name: out[row].T for row, name in enumerate(SOLVED[: OUT - 2])}
    return OperatingPoints(**named, limited=flags[0].T, turning=flags[1].T)
