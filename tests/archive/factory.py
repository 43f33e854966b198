"""Posteriors of invented motors, in the shape that inference returns, without any inference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

SHARED = (
    "gain_voltage",
    "gain_current",
    "gain_thrust",
    "offset_voltage",
    "offset_current",
    "controller_resistance",
)


@dataclass(frozen=True)
class StandInPosterior:
    motor: str
    propellers: tuple[str, ...]
    draws: dict[str, NDArray[np.float64]]
    prior: dict[str, NDArray[np.float64]]
    sample_stats: dict[str, NDArray[Any]]
    observed: dict[str, NDArray[Any]]
    predictive: dict[str, NDArray[np.float32]]
    constant: dict[str, Any]
    attributes: dict[str, Any]


@dataclass(frozen=True)
class StandInResult:
    campaign: Any
    motors: tuple[StandInPosterior, ...]


CENTRES = {
    "kv": 1290.0,
    "kt": 0.0071,
    "kt_kv_ratio": 0.96,
    "winding_resistance": 0.061,
    "drag_current_static": 0.6,
    "drag_current_slope": 2e-4,
    "no_load_current": 0.9,
    "rotor_inertia": 4.1e-6,
}
PER_PROPELLER = {
    "thrust_coefficient": 0.12,
    "torque_coefficient": 0.011,
    "figure_of_merit": 0.58,
    "prop_inertia": 1.6e-5,
}


def make_result(
    motors: tuple[str, ...] = ("alder-2207", "birch-2806"),
    *,
    seed: int = 3,
    draws: int = 400,
    chains: int = 2,
    blocks: int = 60,
    title: str = "Harbour motors, autumn",
) -> Any:
    rng = np.random.default_rng(seed)
    propellers = ("p5x4x3", "p7x35x2", "p9x45x2")
    shape = (chains, draws)

    def around(centre: float, width: float, size: tuple[int, ...]) -> NDArray[np.float64]:
        return np.asarray(centre * (1.0 + width * rng.standard_normal(size)))

    bench = {name: around(1.0, 0.01, shape) for name in SHARED}
    bench |= {name: around(value, 0.02, (*shape, len(propellers))) for name, value in PER_PROPELLER.items()}

    def one(motor: str) -> StandInPosterior:
        own = {name: around(value, 0.001, shape) for name, value in CENTRES.items()}
        prior = {name: around(value, 0.3, (1, draws)) for name, value in CENTRES.items()}
        prior |= {name: around(1.0, 0.05, (1, draws)) for name in SHARED}
        prior |= {n: around(v, 0.25, (1, draws, len(propellers))) for n, v in PER_PROPELLER.items()}
        speed = np.linspace(100.0, 2500.0, blocks)
        doubt = np.full(blocks, 0.8)
        doubt[-1] = np.nan
        return StandInPosterior(
            motor=motor,
            propellers=propellers,
            draws={**own, **bench},
            prior=prior,
            sample_stats={"log_density": rng.standard_normal(shape), "accepted": rng.random(shape) > 0.5},
            observed={
                "block_run": np.array(
                    ["no-load"] * (blocks // 2) + ["ramp"] * (blocks - blocks // 2), dtype=object
                ),
                "block_start_s": np.arange(blocks) * 0.05,
                "block_end_s": np.arange(1, blocks + 1) * 0.05,
                "speed": speed,
                "speed_sd": doubt,
            },
            predictive={"speed": (speed + 0.9 * rng.standard_normal((50, blocks))).astype(np.float32)},
            constant={
                "air_density_kg_m3": 1.19,
                "air": {"temperature_c": 18.5, "pressure_hpa": 1009.0, "humidity_pct": 55.0},
                "motor": {"mass_g": 48.2, "pole_pairs": 7, "label_kv": None},
                "propellers": {
                    p: {
                        "diameter_m": 0.1778,
                        "pitch_m": 0.0889,
                        "blades": 3,
                        "reference_rev_per_s": 250.0,
                        "mass_g": None,
                    }
                    for p in propellers
                },
                "envelope": {"overall": {"speed_rpm": [0.0, 21000.0], "voltage_v": [14.0, 16.8]}},
                "current_limit_a": None,
            },
            attributes={
                "campaign": title,
                "bench": "north quay",
                "inputs_sha256": {"campaign.toml": "0" * 64},
                "versions": {"motorfit": "0"},
                "seed": 0,
                "method": "fast",
                "diagnostics": {"k_hat": 0.21, "converged": True, "r_hat": None, "lost": float("nan")},
                "priors": {"kv": {"center": 1300.0}},
                "findings": [],
                "created": "2030-01-02T03:04:05Z",
            },
        )

    return StandInResult(None, tuple(one(motor) for motor in motors))
