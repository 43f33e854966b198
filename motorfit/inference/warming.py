"""The coordinates in which heating is sampled: what a watt warms a node within the seconds that a run lasts.

A run shows its own warming.  Heat capacity and time constant alone are seen only through it: with a shorter
time constant the same curve needs a smaller capacity.  Sampled as warming and time constant, the width of one
no longer depends on the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

__all__ = ["NODES_S", "warming_time"]

Array = npt.NDArray[np.float64]

NODES_S: Mapping[str, float] = MappingProxyType({"winding": 4.0, "body": 10.0})
"""Seconds after which the warming of a node is taken: about as long as a ramp keeps it hot."""


def warming_time(node: str, time_constant_s: Array | float) -> Array:
    """Warming [K] per watt times heat capacity [J/K]: τ (1 - e^(-t/τ)) [s], t by node."""
    tau = np.asarray(time_constant_s, dtype=np.float64)
    return np.asarray(-tau * np.expm1(-NODES_S[node] / tau))
