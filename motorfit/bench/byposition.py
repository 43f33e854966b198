"""What the columns of a log without a header may be, by their numbers alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.throttlescale import candidates_text, told_scale

__all__ = ["channels_by_numbers"]

Array = NDArray[np.float64]

_SUPPLY_V = (3.0, 80.0)
_FAST = 900.0
_STEADY = 0.7
"""Of a supply's highest voltage: what its lowest ordinary one keeps."""

_COMMANDED = 0.05
"""Of the changes of a commanded channel, how many turn about at most; of a sensor's, every other does."""

_FEWEST = 20


def channels_by_numbers(columns: Mapping[int, Array]) -> list[tuple[str, int, str, str]]:
    """(channel, position, unit, why) of columns, by position, that only one of them can well be.

    Supply, speed and throttle look like nothing else on a bench; current, thrust and torque look alike, so
    that they stay a question.
    """
    known = {k: v[np.isfinite(v)] for k, v in columns.items()}
    known = {k: v for k, v in known.items() if len(v) >= _FEWEST and np.ptp(v) > 0}
    found: list[tuple[str, int, str, str]] = []
    commanded = [k for k, v in known.items() if told_scale(v) and _turns_about(v) < _COMMANDED]
    fast = [k for k, v in known.items() if k not in commanded and np.percentile(v, 99) > _FAST]
    supply = [k for k, v in known.items() if k not in commanded and _is_supply(v)]
    if len(fast) == 1:
        found.append(("speed", fast[0], "rpm", "by its size; or is it eRPM, electrical speed?"))
    if len(supply) == 1:
        found.append(("voltage", supply[0], "V", "by its size: far from zero throughout"))
    if len(commanded) == 1:
        values = known[commanded[0]]
        why = f"by its range, without noise; candidates: {candidates_text(values)}"
        found.append(("throttle", commanded[0], told_scale(values) or "%", why))
    return found


def _is_supply(values: Array) -> bool:
    low, high = float(np.percentile(values, 5)), float(np.percentile(values, 95))
    return _SUPPLY_V[0] < high < _SUPPLY_V[1] and low > _STEADY * high


def _turns_about(values: Array) -> float:
    """Share of the changes from row to row that go against the one before."""
    changes = np.diff(values)
    changes = changes[changes != 0]
    return float(np.mean(changes[1:] * changes[:-1] < 0)) if len(changes) > 1 else 0.0
