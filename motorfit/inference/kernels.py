"""Compiled residuals: forward model, sensors, Markov whitening and projection, several draws at once.

Layout (all contiguous float64): runs are stacked along blocks, `first[r]:first[r+1]` being run r.  `phys` is
(runs, N_PHYSICS, draws) and `sens` (5, N_CHANNELS, draws): gain, offset, delay, lag, jump; the last axis is
the draw, a whole number of LANES of them, so that lanes are loaded at once.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.compiled import kernel
from motorfit.inference.late_channels import delayed, jumped, lagged
from motorfit.lanes import LANES, any_of, load, same, spread, store
from motorfit.physics.forward import duty_lanes, simulate_at_speed, simulate_driven
from motorfit.physics.slots import (
    C_DUTY,
    C_SPEED,
    MODE_AT_SPEED,
    MODE_FREEWHEEL,
    N_CHANNELS,
    N_PHYSICS,
    P_DRIFT,
    P_RS,
    P_SHIFT,
)

__all__ = ["predict_run", "residual_rows"]

Array = npt.NDArray[Any]


@kernel
def predict_run(
    r: int, s: int, phys: Array, sens: Array, volt: Array, first: Array, mode: Array,
    h: Array, throttle: Array, supply: Array, on: Array, samples: Array,
    slope: Array, y: Array, q: Array, source: Array, work: Array, pred: Array,
) -> None:  # fmt: skip
    """Sensor readings of run `r` for draws `s` to `s + LANES`, into `pred` (blocks, N_CHANNELS, LANES).

    phys, sens: see the module; volt: (2, draws) gain and offset of the bus voltage; h [s], throttle [1],
    on [1], samples, slope (of the throttle [1/s]; at given speeds, of those [rad/s²]): (blocks,); supply:
    (2, blocks) open-circuit reading [V] and how far along the run [1]; y: (blocks, N_CHANNELS) readings.
    Scratch: q (N_PHYSICS, LANES); source, work (blocks of all runs + 1, LANES).
    """
    a, b = first[r], first[r + 1]
    n = b - a
    lanes = slice(s, s + LANES)
    for i in range(N_PHYSICS):
        q[i] = phys[r, i, lanes]
    gain, offset = load(volt[:, lanes], (0,)), load(volt[:, lanes], (1,))
    per_gain = 1.0 / gain
    shift, drift = load(q, (P_SHIFT,)) - offset, load(q, (P_DRIFT,))
    for k in range(n):
        store(source, (k,), (supply[0, a + k] + shift + supply[1, a + k] * drift) * per_gain)
    readings = sens[:, :, lanes]
    if mode[r] == MODE_AT_SPEED:
        per_speed = 1.0 / load(readings, (0, C_SPEED))
        for k in range(n):
            store(work, (k,), y[a + k, C_SPEED] * per_speed)
        simulate_at_speed(q, work[:n], slope[a:b], source[:n], pred)
        for k in range(n):  # duty asked for by power balance less duty given
            store(pred, (k, C_DUTY), load(pred, (k, C_DUTY)) - duty_lanes(q, throttle[a + k]))
    else:
        store(q, (P_RS,), load(q, (P_RS,)) * load(readings, (0, 0)) * per_gain)
        simulate_driven(
            q, h[a:b], throttle[a:b], slope[a:b], source[:n], on[a:b], samples[a:b],
            mode[r] == MODE_FREEWHEEL, pred,
        )  # fmt: skip
        for c in range(N_CHANNELS - 1):
            share = load(readings, (4, c))
            if any_of(~same(share, 0.0)):
                jumped(pred, h[a:b], samples[a:b], share, c)
            lag = load(readings, (3, c))
            if any_of(lag > 0.0):
                lagged(pred, h[a:b], lag, c)
            for j in range(LANES):
                if sens[2, c, s + j] != 0.0:
                    delayed(pred, h[a:b], sens[2, c, s + j], c, j, work)
    for c in range(N_CHANNELS - 1):
        gain, offset = load(readings, (0, c)), load(readings, (1, c))
        for k in range(n):
            store(pred, (k, c), gain * load(pred, (k, c)) + offset)


@kernel
def residual_rows(
    begin: int, end: int, phys: Array, sens: Array, volt: Array, first: Array,
    mode: Array, h: Array, throttle: Array, supply: Array, on: Array,
    samples: Array, slope: Array, y: Array, isd: Array, phi: Array,
    basis: Array, shrink: Array, scatter: Array, slot: Array, rows: Array,
    total: Array, steady: Array,
) -> None:  # fmt: skip
    """Whitened, projected residuals of draws begin..end; begin is a multiple of LANES.

    isd, phi: (blocks, N_CHANNELS) inverse innovation sd [1/unit] (0: absent) and correlation with the block
    before; basis: (N_CHANNELS, K, blocks) orthonormal directions of slow error per run and channel, shrink:
    (runs, N_CHANNELS, K) how much of each is taken out.  Writes minus twice the log-likelihood into total[s],
    and where `rows` has columns, residuals whose squares sum to it into rows[s - begin], block k's channel c
    at slot[k, c]. Not finite means an impossible draw.

    The scatter of steady rows is unknown: scatter (2, N_CHANNELS) holds the exponent and scale of its
    Student-t marginal, n log(1 + S/scale) with S the sum of squares, which is written into steady[s].
    """
    n = h.shape[0]
    q = np.empty((N_PHYSICS, LANES))
    source, work, white = np.empty((n + 1, LANES)), np.empty((max(n, 5) + 1, LANES)), np.empty((n, LANES))
    pred = np.empty((n, N_CHANNELS, LANES))
    sums, squares = np.empty((1, LANES)), np.empty((N_CHANNELS, LANES))
    keep = rows.shape[1] > 0
    for s in range(begin, end, LANES):
        used = min(LANES, end - s)
        out = spread(0.0)
        squares[:] = 0.0
        for r in range(first.shape[0] - 1):
            a, b = first[r], first[r + 1]
            predict_run(
                r, s, phys, sens, volt, first, mode, h, throttle, supply, on, samples, slope, y, q, source,
                work, pred[: b - a],
            )  # fmt: skip
            for c in range(N_CHANNELS):
                before = part = spread(0.0)
                present = False
                for k in range(a, b):
                    if isd[k, c] > 0.0:
                        e = y[k, c] - load(pred, (k - a, c))
                        w = (e - phi[k, c] * before) * isd[k, c]
                        store(white, (k - a,), w)
                        part = part + w * w
                        before = e
                        present = True
                    else:
                        before = spread(0.0)
                        store(white, (k - a,), before)
                if not present:
                    continue
                for i in range(basis.shape[1]):
                    d = shrink[r, c, i]
                    if d > 0.0:  # directions are orthonormal: each takes out its own share of the squares
                        dot = spread(0.0)
                        for k in range(a, b):
                            dot = dot + basis[c, i, k] * load(white, (k - a,))
                        part = part - d * (2.0 - d) * (dot * dot)
                        if keep:
                            dot = d * dot
                            for k in range(a, b):
                                store(white, (k - a,), load(white, (k - a,)) - dot * basis[c, i, k])
                if mode[r] == MODE_AT_SPEED:
                    store(squares, (c,), load(squares, (c,)) + part)
                else:
                    out = out + part
                if keep:
                    for k in range(a, b):
                        if slot[k, c] >= 0:
                            for j in range(used):
                                rows[s - begin + j, slot[k, c]] = white[k - a, j]
        store(sums, (0,), out)
        for j in range(used):
            _settle(s + j, s - begin + j, sums[0, j], squares[:, j], first, mode, scatter, slot, rows, total)
            steady[s + j] = squares[:, j]


@kernel
def _settle(
    s: int, row: int, out: float, squares: Array, first: Array, mode: Array, scatter: Array, slot: Array,
    rows: Array, total: Array,
) -> None:  # fmt: skip
    """Add what the steady rows of one draw are worth; scatter and rows as for `residual_rows`."""
    keep = rows.shape[1] > 0
    for c in range(N_CHANNELS):
        if scatter[0, c] > 0.0:
            marginal = scatter[0, c] * math.log1p(squares[c] / scatter[1, c])
            out += marginal
            if keep and squares[c] > 0.0:
                grow = math.sqrt(marginal / squares[c])
                for r in range(first.shape[0] - 1):
                    if mode[r] == MODE_AT_SPEED:
                        for k in range(first[r], first[r + 1]):
                            if slot[k, c] >= 0:
                                rows[row, slot[k, c]] *= grow
    total[s] = out if math.isfinite(out) else math.inf
