"""How far copies of one thing lie apart: units of a model, and one unit mounted again.

Each is the scale of a half-normal belief about a relative standard deviation. K_v 2 %, R 4 %, I_0 15 %,
C_T 2 % and C_Q 3 % between units stand in the table of priors; the rest is chosen here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

UNIT_SPREAD: Mapping[str, float] = MappingProxyType(
    {
        "kv": 0.02,
        "winding_resistance": 0.04,
        "no_load_current": 0.15,
        "kt_kv_ratio": 0.01,  # commutation and iron belong to the model; phase advance and air gap are left
        "rotor_inertia": 0.02,  # turned and pressed parts
    }
)
"""Between units of one motor model, relative."""

PROPELLER_SPREAD: Mapping[str, float] = MappingProxyType(
    {"thrust_coefficient": 0.02, "torque_coefficient": 0.03, "prop_inertia": 0.03}
)
"""Between copies of one propeller, relative; it also holds what another stand blocks or recirculates."""

REMOUNT_SCATTER: Mapping[str, float] = MappingProxyType(
    {
        "kv": 0.002,  # two kelvin of magnet temperature
        "kt_kv_ratio": 0.003,
        "winding_resistance": 0.01,  # two kelvin of copper, and a plug
        "no_load_current": 0.05,  # bearings' preload and grease
        "rotor_inertia": 0.01,  # adapter and nut
    }
)
"""Of one unit taken off and mounted again on another day, relative."""
