"""Speed that leaves for an instant and comes back: edges missed or counted twice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_LONGEST_S = 0.15
_MOST_SAMPLES = 200
_LEAVES = 0.4
_RETURNS = 0.15
_LOWEST = 0.2


def speed_excursions(time_s: NDArray[np.float64], speed: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Spans [first, end) of samples in which speed (n,) leaves and comes back, at time_s (n,) [s].

    An excursion begins with a jump by more than 40 % between neighbours while the shaft turns at more than a
    fifth of its top speed, and is back within 15 % of where it left in 0.15 s: no shaft does that, a sensor
    that misses edges (zero, half speed) or counts them twice (double speed) does.
    """
    if len(speed) < 3:
        return []
    with np.errstate(invalid="ignore"):
        jumps = np.flatnonzero(
            (speed[:-1] > _LOWEST * _top(speed)) & (np.abs(speed[1:] - speed[:-1]) > _LEAVES * speed[:-1])
        )
    spans: list[tuple[int, int]] = []
    done = 0
    for jump in jumps.tolist():
        if jump < done:
            continue
        latest = int(np.searchsorted(time_s, time_s[jump] + _LONGEST_S, side="right"))
        # Even a slow log gets to look at one sample beyond the excursion.
        ahead = speed[jump + 1 : min(max(latest, jump + 3), jump + 2 + _MOST_SAMPLES)]
        back = np.flatnonzero(np.abs(ahead - speed[jump]) < _RETURNS * speed[jump])
        if len(back) > 0 and back[0] > 0:
            done = jump + 1 + int(back[0])
            spans.append((jump + 1, done))
    return spans


def _top(speed: NDArray[np.float64]) -> float:
    """Top speed, harmonics aside: what one sample in fifty exceeds."""
    known = speed[np.isfinite(speed)]
    return float(np.percentile(known, 98)) if len(known) > 0 else np.inf
