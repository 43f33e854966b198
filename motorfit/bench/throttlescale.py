"""On which scale a throttle was logged: told by its numbers where they can be but one, else candidates."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["candidates_text", "likely_scale", "told_scale"]

Array = NDArray[np.float64]

_ENDS = ((0, 255), (0, 1000), (0, 1023), (0, 2000), (48, 2047), (0, 4095), (0, 65535))
"""Both ends of scales in use: counts of 8, 10, 12 and 16 bits, per mille, digital throttle signals."""

_SHORTEST_PULSE, _LONGEST_PULSE = 800.0, 2250.0
_LEAST_TOP = 0.25
"""A throttle that never goes beyond this share of a scale is hardly on it."""

_FEW_LEVELS = 5


def told_scale(values: Array) -> str | None:
    """The unit that numbers (n,) can only be in; None where there is a question."""
    known = values[np.isfinite(values)]
    if not known.size or known.min() < 0:
        return None
    top, turning = float(known.max()), known[known > 0]
    if top <= 1:
        return "1"
    if 1.5 < top <= 100.5:
        return "%"
    if top > 2200 or turning.min() < _SHORTEST_PULSE:
        return None
    # where the pulse is off at rest, a count up to 2000 could look the same but for the values between
    return "us" if len(turning) == len(known) or len(np.unique(turning)) > _FEW_LEVELS else None


def candidates_text(values: Array) -> str:
    """Units that would make numbers (n,) a throttle, and how far it would go in each; empty for none."""
    return ", ".join(f'"{unit}" (up to {100 * top:.0f} %)' for unit, top in _candidates(values))


def likely_scale(values: Array) -> str | None:
    """The unit told by the numbers, else the candidate of which most would be used."""
    told = told_scale(values)
    return told or next((unit for unit, _ in _candidates(values)), None)


def _candidates(values: Array) -> list[tuple[str, float]]:
    """Units and the highest throttle they would make of the numbers, from 0 to 1; the highest first."""
    known = values[np.isfinite(values)]
    if not known.size or known.min() < 0 or known.max() <= 0:
        return []
    top, turning = float(known.max()), known[known > 0]
    found = []
    if top <= 1.005:
        found.append(("1", top))
    if top <= 100.5:
        found.append(("%", top / 100.0))
    if turning.min() >= _SHORTEST_PULSE and top <= _LONGEST_PULSE:
        found.append(("us", (top - 1000.0) / 1000.0))
    found += [
        (f"{low} to {high}", (top - low) / (high - low))
        for low, high in _ENDS
        if top <= high and turning.min() >= low
    ]
    fits = [(unit, min(share, 1.0)) for unit, share in found if share >= _LEAST_TOP]
    return sorted(fits, key=lambda candidate: -candidate[1])
