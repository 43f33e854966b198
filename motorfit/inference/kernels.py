"""Compiled residuals: forward model, sensors, Markov whitening and projection, one draw after another.

Layout (all contiguous float64): runs are stacked along blocks, `first[r]:first[r+1]` being run r.  `phys` is
(runs, N_PHYSICS, draws) and `sens` (4, N_CHANNELS, draws): gain, offset, delay, lag; the last axis is
the draw, so that the arrays are filled by whole rows.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.compiled import kernel
from motorfit.physics.forward import (
    C_DUTY,
    MODE_AT_SPEED,
    MODE_FREEWHEEL,
    N_CHANNELS,
    N_PHYSICS,
    P_DUTY_C,
    P_DUTY_E,
    P_DUTY_S,
    P_RS,
    duty_of,
    simulate_at_speed,
    simulate_driven,
)

__all__ = ["predict_blocks", "residual_rows"]

Array = npt.NDArray[Any]


@kernel
def _edges(pred: Array, h: Array, c: int, k: int) -> tuple[float, float]:
    """Values of a channel at the start and the end of block k, on straight lines between middles of blocks.

    Where blocks begin to be short again a step was made: current and torque may jump there, and nothing of
    one side is true of the other.
    """
    n = h.shape[0]
    mine = float(pred[k, c])
    start, end = mine, mine
    if k > 0 and h[k] > 0.5 * h[k - 1]:
        start = (pred[k - 1, c] * h[k] + mine * h[k - 1]) / (h[k - 1] + h[k])
    if k + 1 < n and h[k + 1] > 0.5 * h[k]:
        end = (mine * h[k + 1] + pred[k + 1, c] * h[k]) / (h[k] + h[k + 1])
    return start, end


@kernel
def _delayed(pred: Array, h: Array, delay: float, c: int, work: Array) -> None:
    """Shift one channel later by `delay` [s], through its running integral, so that means stay means.

    Within a block the channel is a parabola with the block's mean and its edge values, which keeps the
    posterior smooth in the delay; `work` is (blocks + 1, 5) scratch.
    """
    n = h.shape[0]
    work[0, 0] = work[0, 1] = 0.0
    for k in range(n):
        work[k + 1, 0] = work[k, 0] + pred[k, c] * h[k]
        work[k + 1, 1] = work[k, 1] + h[k]
        work[k, 2], work[k, 4] = _edges(pred, h, c, k)
        work[k, 3] = pred[k, c]
    end = work[n, 1]
    j = 0
    before = 0.0
    for k in range(n + 1):
        t = work[k, 1] - delay
        if t <= 0.0:
            value = work[0, 3] * t
        elif t >= end:
            value = work[n, 0] + work[n - 1, 3] * (t - end)
        else:
            while j < n - 1 and work[j + 1, 1] < t:
                j += 1
            while j > 0 and work[j, 1] > t:
                j -= 1
            x = (t - work[j, 1]) / h[j]
            left, right = work[j, 2], work[j, 4]
            bulge = 6.0 * (work[j, 3] - 0.5 * (left + right))
            value = work[j, 0] + h[j] * x * (left + x * (0.5 * (right - left) + bulge * (0.5 - x / 3.0)))
        if k > 0:
            pred[k - 1, c] = (value - before) / h[k - 1]
        before = value


@kernel
def _lagged(pred: Array, h: Array, lag: float, c: int, work: Array) -> None:
    """Follow one channel as a first-order sensor does, l y' = x - y, from rest at its first value.

    Within a block x is a parabola with the block's mean and its edge values, for which y is exact; the mean
    of y is that of x less l (y_end - y_start)/h.  `lag` [s] is positive; `work` is (blocks + 1, 5) scratch.
    """
    n = h.shape[0]
    for k in range(n):
        work[k, 0], work[k, 1] = _edges(pred, h, c, k)
    y = work[0, 0]
    for k in range(n):
        left, right, length = work[k, 0], work[k, 1], h[k]
        bulge = 6.0 * (pred[k, c] - 0.5 * (left + right))
        c1 = (right - left + bulge) / length
        c2 = -bulge / (length * length)
        particular = left - lag * c1 + 2.0 * lag * lag * c2
        end = particular + (c1 - 2.0 * lag * c2) * length + c2 * length * length
        new = end + (y - particular) * math.exp(-length / lag)
        pred[k, c] -= lag * (new - y) / length
        y = new


@kernel
def predict_blocks(
    s: int, phys: Array, sens: Array, volt: Array, first: Array, mode: Array,
    h: Array, throttle: Array, supply: Array, on: Array, samples: Array,
    slope: Array, y: Array, p: Array, source: Array, pred: Array, work: Array,
) -> None:  # fmt: skip
    """Sensor readings of every block for draw `s`, into `pred` (blocks, N_CHANNELS).

    phys, sens: see the module; volt: (2, draws) gain and offset of the bus voltage; h [s], throttle [1],
    supply [V reading], on [1], samples, slope [rad/s²]: (blocks,); y: (blocks, N_CHANNELS) readings.
    """
    for r in range(first.shape[0] - 1):
        a, b = first[r], first[r + 1]
        for j in range(N_PHYSICS):
            p[j] = phys[r, j, s]
        for k in range(a, b):
            source[k] = (supply[k] - volt[1, s]) / volt[0, s]
        if mode[r] == MODE_AT_SPEED:
            for k in range(a, b):
                work[k, 0] = y[k, 1] / sens[0, 1, s]
            simulate_at_speed(p, work[a:b, 0], slope[a:b], source[a:b], pred[a:b])
            for k in range(a, b):  # duty asked for by power balance less duty given
                pred[k, C_DUTY] -= duty_of(throttle[k], p[P_DUTY_S], p[P_DUTY_C], p[P_DUTY_E])
        else:
            p[P_RS] *= sens[0, 0, s] / volt[0, s]
            simulate_driven(
                p,
                h[a:b],
                throttle[a:b],
                source[a:b],
                on[a:b],
                samples[a:b],
                mode[r] == MODE_FREEWHEEL,
                pred[a:b],
            )
            for c in range(N_CHANNELS - 1):
                if sens[3, c, s] > 0.0:
                    _lagged(pred[a:b], h[a:b], sens[3, c, s], c, work)
                if sens[2, c, s] != 0.0:
                    _delayed(pred[a:b], h[a:b], sens[2, c, s], c, work)
        for c in range(N_CHANNELS - 1):
            for k in range(a, b):
                pred[k, c] = sens[0, c, s] * pred[k, c] + sens[1, c, s]


@kernel
def residual_rows(
    begin: int, end: int, phys: Array, sens: Array, volt: Array, first: Array,
    mode: Array, h: Array, throttle: Array, supply: Array, on: Array,
    samples: Array, slope: Array, y: Array, isd: Array, phi: Array,
    basis: Array, shrink: Array, scatter: Array, slot: Array, rows: Array,
    total: Array, steady: Array,
) -> None:  # fmt: skip
    """Whitened, projected residuals of draws begin..end.

    isd, phi: (blocks, N_CHANNELS) inverse innovation sd [1/unit] (0: absent) and correlation with the block
    before; basis: (blocks, N_CHANNELS, K) orthonormal directions of slow error per run and channel, shrink:
    (runs, N_CHANNELS, K) how much of each is taken out.  Writes minus twice the log-likelihood into total[s],
    and where `rows` has columns, residuals whose squares sum to it into rows[s - begin], block k's channel c
    at slot[k, c]. Not finite means an impossible draw.

    The scatter of steady rows is unknown: scatter (2, N_CHANNELS) holds the exponent and scale of its
    Student-t marginal, n log(1 + S/scale) with S the sum of squares, which is written into steady[s].
    """
    n = h.shape[0]
    p = np.empty(N_PHYSICS)
    source = np.empty(n)
    pred = np.empty((n, N_CHANNELS))
    work = np.empty((n + 1, 5))
    white = np.empty(n)
    keep = rows.shape[1] > 0
    for s in range(begin, end):
        predict_blocks(
            s,
            phys,
            sens,
            volt,
            first,
            mode,
            h,
            throttle,
            supply,
            on,
            samples,
            slope,
            y,
            p,
            source,
            pred,
            work,
        )
        out = 0.0
        steady[s] = 0.0
        for r in range(first.shape[0] - 1):
            a, b = first[r], first[r + 1]
            for c in range(N_CHANNELS):
                before = 0.0
                used = False
                for k in range(a, b):
                    if isd[k, c] > 0.0:
                        e = y[k, c] - pred[k, c]
                        white[k] = (e - phi[k, c] * before) * isd[k, c]
                        before = e
                        used = True
                    else:
                        white[k] = 0.0
                        before = 0.0
                if not used:
                    continue
                for j in range(basis.shape[2]):
                    d = shrink[r, c, j]
                    if d > 0.0:
                        dot = 0.0
                        for k in range(a, b):
                            dot += basis[k, c, j] * white[k]
                        dot *= d
                        for k in range(a, b):
                            white[k] -= dot * basis[k, c, j]
                part = 0.0
                for k in range(a, b):
                    part += white[k] * white[k]
                if mode[r] == MODE_AT_SPEED:
                    steady[s, c] += part
                else:
                    out += part
                if keep:
                    for k in range(a, b):
                        if slot[k, c] >= 0:
                            rows[s - begin, slot[k, c]] = white[k]
        for c in range(N_CHANNELS):
            if scatter[0, c] > 0.0:
                marginal = scatter[0, c] * math.log1p(steady[s, c] / scatter[1, c])
                out += marginal
                if keep and steady[s, c] > 0.0:
                    grow = math.sqrt(marginal / steady[s, c])
                    for r in range(first.shape[0] - 1):
                        if mode[r] == MODE_AT_SPEED:
                            for k in range(first[r], first[r + 1]):
                                if slot[k, c] >= 0:
                                    rows[s - begin, slot[k, c]] *= grow
        total[s] = out if math.isfinite(out) else math.inf
