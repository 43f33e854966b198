"""Blocks of a run, and blocks without a reading put between them where time must pass in smaller steps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Blocks", "stepped"]

Array = npt.NDArray[np.float64]

FINEST_S = 4e-3
GROWTH = 1.3
_LONGEST_S = 0.1
_SLIVER = 0.25
"""Share of a step that is not worth one of its own."""


@dataclass(frozen=True)
class Blocks:
    """What is known of n blocks.

    Attributes
    ----------
    start_s, length_s : (n,) [s]
    samples : (n,) samples averaged in each
    throttle : (n,) mean over it [1];  slope : (n,) its rate of change within it [1/s]
    on : (n,) share of it in which the controller drives [1]
    mean, variance, covariance : channel -> (n,) of the readings, NaN where there are none [unit, unit²]
    """

    start_s: Array
    length_s: Array
    samples: Array
    throttle: Array
    slope: Array
    on: Array
    mean: Mapping[str, Array]
    variance: Mapping[str, Array]
    covariance: Mapping[str, Array]

    def with_empty(self, after: npt.NDArray[np.int64], start_s: Array) -> Blocks:
        """The same with blocks that have no reading.

        Each is put behind the block ``after`` (k,) and takes the time from its ``start_s`` (k,) [s] to that
        block's end, or to the next one put there; throttle is that block's, held.
        """
        ends = self.start_s + self.length_s
        begins = np.insert(self.start_s, after + 1, start_s)
        owner = np.insert(np.arange(self.samples.size), after + 1, after)
        last = np.append(owner[1:] != owner[:-1], True)
        length = np.where(last, ends[owner], np.append(begins[1:], 0.0)) - begins

        def put(values: Array, filler: float) -> Array:
            return np.insert(values, after + 1, filler)

        return Blocks(
            begins, length, put(self.samples, 1.0), self.throttle[owner], put(self.slope, 0.0),
            self.on[owner],
            {name: put(values, np.nan) for name, values in self.mean.items()},
            {name: values[owner] for name, values in self.variance.items()},
            {name: put(values, 0.0) for name, values in self.covariance.items()},
        )  # fmt: skip


def stepped(blocks: Blocks, since_s: Array) -> Blocks:
    """The same, where samples lie far apart after a transient, with empty blocks between them.

    Saturation and the propeller's trend are held over a block, so steps must grow from small ones after a
    transient however rarely it was logged.

    Parameters
    ----------
    blocks : n of them
    since_s : (n,) time from the last transient to each block's start [s]
    """
    steps = [FINEST_S]
    while steps[-1] < _LONGEST_S:
        steps.append(steps[-1] * GROWTH)
    cuts = np.cumsum(steps)
    after: list[int] = []
    starts: list[float] = []
    for k in np.flatnonzero((blocks.samples < 1.5) & (blocks.length_s > FINEST_S) & (since_s < cuts[-1])):
        begin, end = since_s[k], since_s[k] + blocks.length_s[k]
        for cut, step in zip(cuts, steps, strict=True):
            if begin + _SLIVER * step < cut < end - _SLIVER * step:
                after.append(int(k))
                starts.append(float(blocks.start_s[k] + cut - begin))
    if not after:
        return blocks
    return blocks.with_empty(np.asarray(after, dtype=np.int64), np.asarray(starts))
