"""The compiled code that answers need, brought into memory before somebody waits for it.

Compiled code is kept on disk, but even then the first call in a process takes a second; without it, some ten.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.hover import hover
from motorfit.answers.predict import predict
from motorfit.answers.step import step
from motorfit.answers.supply import PackChoice

__all__ = ["warm"]

_DRAWS = 40
_PROPELLER = "any"
# An ordinary motor, in the units of the quantities table; only that it can be computed with matters.
_MOTOR = {
    "kv": 1300.0,
    "kt": 0.0072,
    "winding_resistance": 0.06,
    "drag_current_static": 0.5,
    "drag_current_slope": 5e-4,
    "rotor_inertia": 5e-6,
    "saturation_current": 150.0,
    "winding_heat_capacity": 10.0,
    "winding_time_constant": 20.0,
    "body_heat_capacity": 40.0,
    "body_time_constant": 100.0,
}
_COEFFICIENTS = {
    "thrust_coefficient": 0.14,
    "torque_coefficient": 0.01,
    "thrust_reynolds_exponent": 0.05,
    "torque_reynolds_exponent": -0.06,
    "prop_inertia": 1.5e-5,
}


@dataclass(frozen=True)
class _Ordinary:
    """A made-up fit."""

    motor: str = "ordinary"
    fit_id: str = "ordinary"
    propellers: tuple[str, ...] = (_PROPELLER,)
    draws: Mapping[str, NDArray[np.float64]] = field(default_factory=lambda: _table(0.01))
    prior: Mapping[str, NDArray[np.float64]] = field(default_factory=lambda: _table(0.3))
    attributes: Mapping[str, Any] = field(default_factory=dict)
    constant: Mapping[str, Any] = field(
        default_factory=lambda: {
            "air": {"temperature_c": 20.0, "pressure_hpa": 1013.0, "humidity_pct": 50.0},
            "controller": {"current_limit_a": 30.0},
            "propellers": {_PROPELLER: {"diameter_m": 0.178, "pitch_m": 0.1, "blades": 2}},
        }
    )


def _table(spread: float) -> dict[str, NDArray[np.float64]]:
    rng = np.random.default_rng(1)
    table = {name: at * np.exp(spread * rng.standard_normal((2, _DRAWS // 2))) for name, at in _MOTOR.items()}
    for name, at in _COEFFICIENTS.items():
        table[name] = at * np.exp(spread * rng.standard_normal((2, _DRAWS // 2, 1)))
    return table


def warm() -> None:
    """Ask every question about one motor that runs compiled code once, of a made-up fit; seconds."""
    fit, pack = _Ordinary(), PackChoice(4, 1500.0)
    with np.errstate(all="ignore"):
        predict(fit, propeller=_PROPELLER, voltage_v=15.0)
        for axis in ("electrical_power", "thrust"):
            predict(fit, propeller=_PROPELLER, pack=pack, against=axis, points=[2.0, 4.0])
        step(
            fit, propeller=_PROPELLER, voltage_v=15.0, from_throttle=0.2, to_throttle=0.5, times_s=[0.0, 0.1]
        )
        hover(fit, propeller=_PROPELLER, pack=pack, mass_g=600.0, motors=4)
