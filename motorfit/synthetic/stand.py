"""The true stand: controller, supply, and the errors of its sensors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from motorfit.synthetic.options import CHANNELS, BenchOptions

__all__ = ["CHANNELS", "SENSORS", "Sensor", "Stand", "draw_stand"]


@dataclass(frozen=True, slots=True)
class Sensor:
    """One channel's doubt and noise, in its SI unit.

    ``gain_sd`` [1], ``offset_sd`` one sigma of calibration; ``white`` and ``slow`` one sigma of noise, the
    slow part a first-order Markov process of time constant ``slow_time`` [s].
    """

    gain_sd: float
    offset_sd: float
    white: float
    slow: float
    slow_time: float


SENSORS: Mapping[str, Sensor] = {
    "voltage": Sensor(0.004, 0.02, 0.015, 0.020, 0.004),
    "current": Sensor(0.010, 0.05, 0.05, 0.15, 0.010),
    "speed": Sensor(0.0003, 0.0, 1.0, 1.5, 0.003),
    "thrust": Sensor(0.010, 0.02, 0.010, 0.04, 0.025),
    "torque": Sensor(0.015, 0.0008, 0.0003, 0.0010, 0.020),
}
"""The usual small stand: shunt, optical or electrical speed, two load cells."""


@dataclass(frozen=True, slots=True)
class Stand:
    """What is true of one stand on one day.

    Attributes
    ----------
    controller_resistance_ohm, controller_resistance_sd_ohm, current_limit_a : as declared [ohm], [ohm], [A]
    source_resistance : of the supply [ohm]
    limit_factor : true over nominal current limit [1]
    parameters : true values by posterior names: controller and sensors
    sensors : by channel
    crosstalk : what the thrust cell reads of torque, and the torque cell of thrust, 1 N as 20 mN m [1]
    """

    controller_resistance_ohm: float
    controller_resistance_sd_ohm: float
    current_limit_a: float
    source_resistance: float
    limit_factor: float
    parameters: Mapping[str, float]
    sensors: Mapping[str, Sensor] = field(default_factory=lambda: SENSORS)
    crosstalk: tuple[float, float] = (0.0, 0.0)


def draw_stand(rng: np.random.Generator, options: BenchOptions, current_limit_a: float = 65.0) -> Stand:
    """A stand whose sensors are off by as much as their declared doubts say."""
    wide = options.spread == "prior"
    limit_factor = 1.0 + float(rng.normal(0.0, 0.03 if wide else 0.02))
    parameters = {
        "controller_resistance": float(rng.normal(0.006, 0.0006)),
        "duty_slope": 1.0,
        "duty_curvature": 0.0,
        "duty_cubic": 0.0,
        "controller_idle_current": _idle(rng, wide) if options.idle_draw else 0.0,
        "current_limit": current_limit_a * limit_factor,
    }
    if options.curved_duty:
        parameters |= {
            "duty_slope": 1.0 + float(rng.normal(0.0, 0.05) if wide else rng.uniform(0.0, 0.05)),
            "duty_curvature": float(rng.normal(0.0, 0.10 if wide else 0.08)),
            "duty_cubic": float(rng.normal(0.0, 0.04 if wide else 0.03)),
        }
    for channel, sensor in SENSORS.items():
        size = 0.0 if options.calibrated else 1.0
        parameters[f"gain_{channel}"] = 1.0 + size * float(rng.normal(0.0, sensor.gain_sd))
        parameters[f"offset_{channel}"] = size * float(rng.normal(0.0, sensor.offset_sd))
        late = float(rng.uniform(0.0, 1.0)) * options.late_by_s
        parameters[f"delay_{channel}"] = 0.0 if channel == "speed" else late
        parameters[f"lag_{channel}"] = options.load_cell_lag_s if channel in ("thrust", "torque") else 0.0
    crosstalk = (0.0, 0.0)
    if options.crosstalk > 0.0:
        crosstalk = (float(rng.normal(0.0, options.crosstalk)), float(rng.normal(0.0, options.crosstalk)))
    return Stand(0.006, 0.0006, current_limit_a, 0.018, limit_factor, parameters, crosstalk=crosstalk)


def _idle(rng: np.random.Generator, wide: bool) -> float:
    """Idle current of a controller [A]; by the model's belief as likely none at all."""
    if not wide:
        return float(rng.uniform(0.05, 0.2))
    return abs(float(rng.normal(0.0, 0.12))) * float(rng.random() < 0.5)
