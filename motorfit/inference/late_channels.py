"""Channels that come late: shifted by a delay, or smoothed as a sensor of first order does; compiled."""

from __future__ import annotations

from motorfit.compiled import kernel
from motorfit.lanes import Array, Lanes, load, store, where
from motorfit.lanes_math import exponential

__all__ = ["delayed", "jumped", "lagged"]


@kernel
def _edges(pred: Array, h: Array, c: int, j: int, k: int) -> tuple[float, float]:
    """Values of a channel at the start and the end of block k, on straight lines between middles of blocks.

    Where blocks begin to be short again a step was made: current and torque may jump there, and nothing of
    one side is true of the other, so that each goes on straight up to it.
    """
    n = h.shape[0]
    mine = float(pred[k, c, j])
    start, end = mine, mine
    joined = k > 0 and h[k] > 0.5 * h[k - 1]
    if joined:
        start = (pred[k - 1, c, j] * h[k] + mine * h[k - 1]) / (h[k - 1] + h[k])
    if k + 1 < n and h[k + 1] > 0.5 * h[k]:
        end = (mine * h[k + 1] + pred[k + 1, c, j] * h[k]) / (h[k] + h[k + 1])
        if not joined:
            start = 2.0 * mine - end
    elif joined:
        end = 2.0 * mine - start
    return start, end


@kernel
def jumped(pred: Array, h: Array, samples: Array, share: Lanes, c: int) -> None:
    """Let jumps of one channel show later by a share of a sampling interval, its smooth parts staying.

    A step falls somewhere between two samples of a late channel, and a sensor or its logger may show it at
    once or an interval later.  pred as for `delayed`, `samples` averaged in each block.
    """
    for k in range(1, h.shape[0]):
        if h[k] <= 0.5 * h[k - 1]:
            mine = load(pred, (k, c))
            store(pred, (k, c), mine - (mine - load(pred, (k - 1, c))) * share * (1.0 / samples[k]))


@kernel
def delayed(pred: Array, h: Array, delay: float, c: int, j: int, work: Array) -> None:
    """Shift one channel of one lane later by `delay` [s], through its running integral, so that means stay
    means.

    Within a block the channel is a parabola with the block's mean and its edge values, which keeps the
    posterior smooth in the delay.  pred is (blocks, channels, LANES), h (blocks,) [s], `work`
    (blocks + 1, LANES) scratch.
    """
    n = h.shape[0]
    work[0, 0] = work[0, 1] = 0.0
    for k in range(n):
        work[k + 1, 0] = work[k, 0] + pred[k, c, j] * h[k]
        work[k + 1, 1] = work[k, 1] + h[k]
        work[k, 2], work[k, 4] = _edges(pred, h, c, j, k)
        work[k, 3] = pred[k, c, j]
    end = work[n, 1]
    at = 0
    before = 0.0
    for k in range(n + 1):
        t = work[k, 1] - delay
        if t <= 0.0:
            value = work[0, 3] * t
        elif t >= end:
            value = work[n, 0] + work[n - 1, 3] * (t - end)
        else:
            while at < n - 1 and work[at + 1, 1] < t:
                at += 1
            while at > 0 and work[at, 1] > t:
                at -= 1
            x = (t - work[at, 1]) / h[at]
            left, right = work[at, 2], work[at, 4]
            bulge = 6.0 * (work[at, 3] - 0.5 * (left + right))
            value = work[at, 0] + h[at] * x * (
                left + x * (0.5 * (right - left) + bulge * (0.5 - x * (1.0 / 3.0)))
            )
        if k > 0:
            pred[k - 1, c, j] = (value - before) / h[k - 1]
        before = value


@kernel
def lagged(pred: Array, h: Array, lag: Lanes, c: int) -> None:
    """Follow one channel as a first-order sensor does, l y' = x - y, from rest at its first value.

    Within a block x is a parabola with the block's mean and its edge values, for which y is exact; the mean
    of y is that of x less l (y_end - y_start)/h.  Lanes whose lag [s] is not positive stay as they are.
    pred as for `delayed`.
    """
    n = h.shape[0]
    slow = lag > 0.0
    lag = where(slow, lag, 1.0)
    per_lag = 1.0 / lag
    x = load(pred, (0, c))
    y = x
    before = x
    decay, last_h = lag, -1.0
    for k in range(n):
        mine = load(pred, (k, c))
        left, right = mine, mine
        joined = k > 0 and h[k] > 0.5 * h[k - 1]
        if joined:
            left = (before * h[k] + mine * h[k - 1]) * (1.0 / (h[k - 1] + h[k]))
        if k + 1 < n and h[k + 1] > 0.5 * h[k]:
            right = (mine * h[k + 1] + load(pred, (k + 1, c)) * h[k]) * (1.0 / (h[k] + h[k + 1]))
            if not joined:
                left = 2.0 * mine - right
        elif joined:
            right = 2.0 * mine - left
        before = mine
        length, per = h[k], 1.0 / h[k]
        bulge = 6.0 * (mine - 0.5 * (left + right))
        c1 = (right - left + bulge) * per
        c2 = -bulge * (per * per)
        particular = left - lag * c1 + 2.0 * lag * lag * c2
        end = particular + (c1 - 2.0 * lag * c2) * length + c2 * (length * length)
        if length != last_h:
            decay, last_h = exponential(-length * per_lag), length
        new = end + (y - particular) * decay
        store(pred, (k, c), where(slow, mine - lag * (new - y) * per, mine))
        y = new
