"""The stand-in with heat that its runs taught."""

from __future__ import annotations

import numpy as np

from tests.answers.standin import StandIn


def warm(fit: StandIn, spread: float, *, body: float = 2.0) -> StandIn:
    """The stand-in with thermal parameters: 1 K/W from winding to body, ``body`` K/W to the air."""
    shape = fit.draws["kv"].shape
    rng = np.random.default_rng(4)
    heat = {
        "winding_heat_capacity": 6.0,
        "winding_time_constant": 6.0,
        "body_heat_capacity": 60.0 / body,
        "body_time_constant": 60.0,
        "magnet_temperature_coefficient": 0.0011,
    }
    known = fit.with_draws(**{n: v * np.exp(spread * rng.normal(size=shape)) for n, v in heat.items()})
    for name, value in heat.items():
        known.prior[name] = value * np.exp(0.7 * rng.normal(size=(1, 1000)))
    return known
