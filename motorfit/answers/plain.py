"""Numbers for JSON: plain Python types, and null where there is no finite number; probabilities in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray


def number(value: Any) -> float | None:
    """Return a Python float, or None for NaN and infinities, which JSON does not have."""
    result = float(value)
    return result if math.isfinite(result) else None


def numbers(values: NDArray[Any]) -> list[float | None]:
    """Return a list of Python floats with None in place of NaN and infinities."""
    listed: list[float | None] = np.asarray(values, dtype=np.float64).tolist()
    if np.isfinite(values).all():
        return listed
    return [None if item is None or not math.isfinite(item) else item for item in listed]


def chance(probability: float) -> str:
    """Return a probability for a sentence; draws never make one certain, so none reads 0.00 or 1.00."""
    if probability < 0.01:
        return "below 0.01"
    return "above 0.99" if probability > 0.99 else f"{probability:.2f}"


def off_by(share: float) -> str:
    """Return a relative deviation as per cent with its sign; what rounds to nothing has none."""
    text = f"{100.0 * share:+.1f}"
    return text[1:] if float(text) == 0.0 else text.replace("-", "−")


def plain(value: Any) -> Any:
    """Turn numpy scalars, arrays, tuples and non-finite numbers into what JSON can hold."""
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, (float, np.floating)):
        return number(value)
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    return str(value)
