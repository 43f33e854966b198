"""Missing values of a series, bridged."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["bridged"]


def bridged(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The series (n,) with each NaN on the straight line between its finite neighbours, in their unit.

    At least one value must be finite.
    """
    good = np.isfinite(values)
    if good.all():
        return values
    return np.asarray(np.interp(np.arange(values.size), np.flatnonzero(good), values[good]))
