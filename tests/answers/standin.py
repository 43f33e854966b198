"""A made-up posterior with the fields of a stored fit, so that answers are tested apart from any fit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

PROPELLERS = ("p7x35x3", "p6x4x3", "p9x5x2")
CHAINS, DRAWS = 4, 250

# name: (median, posterior spread, prior spread), lognormal
POSITIVE: Mapping[str, tuple[float, float, float]] = {
    "kv": (1300.0, 0.001, 0.08),
    "winding_resistance": (0.060, 0.01, 0.5),
    "drag_current_static": (0.5, 0.05, 0.7),
    "drag_current_slope": (5e-4, 0.05, 0.7),
    "no_load_current": (0.97, 0.01, 0.7),
    "rotor_inertia": (5e-6, 0.03, 0.7),
    "controller_resistance": (0.006, 0.1, 0.1),
    "controller_idle_current": (0.1, 0.3, 1.0),
    "current_limit": (40.0, 0.005, 0.03),
    "duty_slope": (0.98, 0.002, 0.05),
    "gain_voltage": (1.001, 0.003, 0.004),
    "gain_thrust": (0.998, 0.009, 0.01),
}
SIGNED: Mapping[str, tuple[float, float, float]] = {
    "kt_kv_ratio": (0.96, 0.01, 0.05),
    "duty_curvature": (0.02, 0.003, 0.1),
    "duty_cubic": (0.0, 0.003, 0.04),
    "offset_current": (0.01, 0.03, 0.05),
}
# thrust coefficient, figure of merit, inertia, both exponents: by propeller. The third was not run.
COEFFICIENT = (0.143, 0.150, 0.110)
MERIT = (0.58, 0.55, 0.56)
SPREADS = (0.01, 0.01, 0.25)


@dataclass(frozen=True)
class StandIn:
    """Everything `motorfit.answers` reads of a fit."""

    motor: str
    fit_id: str
    propellers: tuple[str, ...]
    draws: dict[str, NDArray[np.float64]]
    prior: dict[str, NDArray[np.float64]]
    constant: dict[str, Any]
    attributes: dict[str, Any]
    observed: dict[str, NDArray[Any]] = field(default_factory=dict)
    predictive: dict[str, NDArray[Any]] = field(default_factory=dict)

    def with_draws(self, **values: NDArray[np.float64]) -> StandIn:
        return replace(self, draws={**self.draws, **values})

    def with_constant(self, **values: Any) -> StandIn:
        return replace(self, constant={**self.constant, **values})


def make_fit(seed: int = 1, motor: str = "tern-2807", *, exact: bool = False) -> StandIn:
    """Return a stand-in; ``exact`` takes all spread out, so that answers are single numbers."""
    rng = np.random.default_rng(seed)
    draws: dict[str, NDArray[np.float64]] = {}
    prior: dict[str, NDArray[np.float64]] = {}
    scale = 0.0 if exact else 1.0
    for name, (median, post, wide) in POSITIVE.items():
        draws[name] = median * np.exp(scale * post * rng.standard_normal((CHAINS, DRAWS)))
        prior[name] = median * np.exp(wide * rng.standard_normal((1, 1000)))
    for name, (median, post, wide) in SIGNED.items():
        draws[name] = median + scale * post * rng.standard_normal((CHAINS, DRAWS))
        prior[name] = median + wide * rng.standard_normal((1, 1000))
    for table in (draws, prior):
        table["kt"] = table["kt_kv_ratio"] * 60.0 / (2.0 * math.pi) / table["kv"]
        _propellers(rng, table, SPREADS if table is draws else (0.25,) * 3, scale if table is draws else 1.0)
    constant = {
        "air": {"temperature_c": 18.0, "pressure_hpa": 1010.0, "humidity_pct": 50.0},
        "motor": {"mass_g": 48.2, "pole_pairs": 7, "label_kv": 1300.0},
        "controller": {"current_limit_a": 40.0},
        "propellers": {
            name: {"diameter_m": d * 0.0254, "pitch_m": p * 0.0254, "blades": b, "reference_rev_per_s": 250.0}
            for name, d, p, b in zip(PROPELLERS, (7, 6, 9), (3.5, 4, 5), (3, 3, 2), strict=True)
        },
        "envelope": {
            "overall": {"speed_rpm": [2500.0, 25000.0], "voltage_v": [21.6, 22.3], "current_a": [0.4, 34.0]},
            "propellers": {
                "p7x35x3": {
                    "speed_rpm": [2500.0, 19000.0],
                    "voltage_v": [21.6, 22.3],
                    "current_a": [0.5, 34.0],
                }
            },
        },
    }
    attributes = {
        "campaign": "A day at the bench",
        "diagnostics": {"method": "fast", "k_hat": np.float64(0.31)},
    }
    fit = StandIn(motor, "20260301T120000Z-0a1b2c", PROPELLERS, draws, prior, constant, attributes)
    return replace(fit, **_blocks(rng))


def _propellers(
    rng: np.random.Generator, table: dict[str, NDArray[np.float64]], spreads: tuple[float, ...], scale: float
) -> None:
    shape = (*table["kv"].shape, len(PROPELLERS))
    spread = scale * np.asarray(spreads)
    table["thrust_coefficient"] = np.asarray(COEFFICIENT) * np.exp(spread * rng.standard_normal(shape))
    logit = np.log(np.asarray(MERIT) / (1.0 - np.asarray(MERIT))) + spread * rng.standard_normal(shape)
    table["figure_of_merit"] = 1.0 / (1.0 + np.exp(-logit))
    power = math.sqrt(2.0 / math.pi) * table["thrust_coefficient"] ** 1.5 / table["figure_of_merit"]
    table["torque_coefficient"] = power / (2.0 * math.pi)
    table["prop_inertia"] = 1.5e-5 * np.exp(spread * rng.standard_normal(shape))
    table["thrust_reynolds_exponent"] = 0.05 * scale + 0.2 * spread * rng.standard_normal(shape)
    table["torque_reynolds_exponent"] = -0.06 * scale + 0.2 * spread * rng.standard_normal(shape)


def _blocks(rng: np.random.Generator) -> dict[str, Any]:
    """Two runs: a ramp of 60 blocks with its times, and a table of 6 rows without."""
    size, rows, replicas = 60, 6, 40
    total = size + rows
    start = np.concatenate([np.arange(size) * 0.05, np.full(rows, np.nan)])
    observed: dict[str, NDArray[Any]] = {
        "block_run": np.array(["tern-ramp"] * size + ["tern-table"] * rows, dtype=object),
        "block_start_s": start,
        "block_end_s": start + 0.05,
    }
    predictive: dict[str, NDArray[Any]] = {}
    ramp = np.concatenate([np.linspace(0.1, 1.0, size), np.linspace(0.2, 1.0, rows)])
    for name, top, noise in (("speed", 2000.0, 4.0), ("current", 33.0, 0.2), ("thrust", 15.0, 0.1)):
        truth = top * ramp ** (1.0 if name == "speed" else 2.0)
        observed[name] = truth + noise * rng.standard_normal(total)
        observed[f"{name}_sd"] = np.full(total, noise)
        predictive[name] = (truth + noise * rng.standard_normal((replicas, total))).astype(np.float32)
    observed["thrust"][size:] = np.nan
    observed["thrust_sd"][size:] = np.nan
    observed["throttle"] = ramp
    observed["throttle_sd"] = np.full(total, np.nan)
    return {"observed": observed, "predictive": predictive}
