"""The one type of the formulas' arguments: a plain number or an array of them."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from motorfit.errors import MotorfitError

Value: TypeAlias = float | NDArray[np.float64]
"""A number, or an array; arguments of one call broadcast against each other as numpy does."""


class PhysicsError(MotorfitError):
    """A quantity outside what its formula describes; the message quotes value, range and remedy."""


def require_between(what: str, value: Value, low: float, high: float, unit: str, remedy: str) -> None:
    """Refuse values that are not finite or outside ``low`` to ``high`` (both allowed), all in ``unit``.

    Raises
    ------
    PhysicsError : quoting the first offending value
    """
    array = np.asarray(value, dtype=np.float64).ravel()
    bad = ~(~np.isnan(array) & (array >= low) & (array <= high))
    if bad.any():
        raise PhysicsError(
            f"{what} is {array[bad][0]:g} {unit}; allowed are {low:g} to {high:g} {unit}. {remedy}".rstrip()
        )
