"""A block of draws in one small array, a row a quantity: what `motorfit.physics.sweep` works in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motorfit.compiled import kernel
from motorfit.physics.rows import N_ROW

Array = NDArray[np.float64]

OUT = 12
"""Arrays written: ω, I_m, I_b, V_b, V_m, T, Q, d, P_el, P_mech, P_mech/P_el, T/P_el."""

B = 96
"""Draws in a block: its rows together stay in the first caches. No power of two: rows that far apart share
places there."""

# What a draw keeps between points: its speed and the logarithm of that over the reference, the last three
# speeds, how many points in a row it has been turning in one way, and whether that was at the current limit.
K_W, K_L, K_W1, K_W2, K_W3, K_RUN, K_HELD = range(N_ROW, N_ROW + 7)
KEPT = 7
# What belongs to one point.
S_E, S_D, S_TOP, S_LOCKED, S_SLOPE, S_TURNS, S_NEXT, S_G, S_I, S_T, S_X, S_HELD = range(
    K_HELD + 1, K_HELD + 13
)
O_SPEED = S_HELD + 1
ROWS = O_SPEED + OUT

EVERY = 2.0
"""The exponent up to which the series of `exponential` is used."""


@kernel
def exponential(y: float) -> float:
    """Exponential of up to 2 in size: a series at a sixteenth of it, squared four times."""
    y *= 0.0625
    p = 1.0 + y * (1.0 / 9.0) * (1.0 + y * 0.1)
    p = 1.0 + y * (1.0 / 7.0) * (1.0 + y * 0.125 * p)
    p = 1.0 + y * 0.2 * (1.0 + y * (1.0 / 6.0) * p)
    p = 1.0 + y * (1.0 / 3.0) * (1.0 + y * 0.25 * p)
    p = 1.0 + y * (1.0 + y * 0.5 * p)
    p *= p
    p *= p
    p *= p
    p *= p
    return p


@kernel
def fill(z: Array, row: int, values: Array) -> None:
    """Values into a row of a block; the last again and again in the lanes that are over."""
    into, n = z[row * B : row * B + B], values.shape[0]
    for s in range(n):
        into[s] = values[s]
    for s in range(n, B):
        into[s] = values[n - 1]


@kernel
def copy(z: Array, row: int, values: Array) -> None:
    """A row of a block into values."""
    n = values.shape[0]
    source = z[row * B : row * B + n]
    for s in range(n):
        values[s] = source[s]
