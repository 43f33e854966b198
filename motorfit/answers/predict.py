"""What a motor will do with a propeller at a voltage: curves over throttle, with bands."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.bands import Band, bands, check_interval
from motorfit.answers.cautions import (
    Caution,
    envelope_cautions,
    parameter_cautions,
    propeller_cautions,
    running_cautions,
)
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike, campaign_air
from motorfit.answers.machine import REFERENCE_C, LimitChoice, drive_of
from motorfit.answers.plain import numbers
from motorfit.answers.posterior import FitLike, FloatArray, count
from motorfit.answers.propellers import load_of, propeller_draws
from motorfit.physics.air import air_density
from motorfit.physics.steady import OperatingPoints, operating_points

GRAVITY = 9.80665  # m/s², standard: turns newtons into grams of thrust
MAX_THROTTLES = 2000
DEFAULT_THROTTLE = tuple(round(0.05 * k, 2) for k in range(1, 21))


@dataclass(frozen=True)
class Prediction:
    """Curves over throttle with bands, and what the reader must know about them.

    ``curves`` holds, each a Band over ``throttle`` (G,): ``speed_rpm``, ``thrust_n``, ``torque_nm``,
    ``current_a`` (bus), ``motor_current_a``, ``electrical_power_w`` (bus), ``mechanical_power_w`` (shaft),
    ``motor_efficiency`` (shaft power over bus power, 0..1) and ``thrust_per_watt_g`` (grams of thrust per
    watt from the bus).
    """

    motor: str
    fit_id: str
    propeller: str
    voltage_v: float
    interval: float
    draws: int
    throttle: FloatArray
    curves: Mapping[str, Band]
    warnings: tuple[Caution, ...]

    def to_json(self) -> dict[str, Any]:
        """Return ``predict --json``: plain types only, null where there is no answer."""
        curves: dict[str, Any] = {"throttle": numbers(self.throttle)}
        curves.update({name: curve.to_json() for name, curve in self.curves.items()})
        return {
            "motor": self.motor,
            "fit": self.fit_id,
            "propeller": self.propeller,
            "voltage_v": self.voltage_v,
            "interval": self.interval,
            "curves": curves,
            "warnings": [warning.to_json() for warning in self.warnings],
        }


def predict(
    fit: FitLike,
    *,
    propeller: str,
    voltage_v: float,
    throttle: Sequence[float] | NDArray[Any] | None = None,
    draws: int | None = None,
    interval: float = 0.9,
    current_limit: LimitChoice = "bench",
    air: AirLike | None = None,
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
) -> Prediction:
    """Predict a motor's static curves with a propeller from an ideal supply.

    Parameters
    ----------
    fit:
        A stored fit.
    propeller:
        An id of the fit's campaign, or ``DxPxB`` in inches for a propeller known by geometry only.
    voltage_v:
        Of the supply at the controller [V], held whatever the current.
    throttle:
        (G,) points from 0 to 1; 0.05 to 1 in steps of 0.05 when left out.
    draws:
        How many posterior draws to use, evenly spaced; all when left out.
    interval:
        Probability inside the bands.
    current_limit:
        Of motor current [A]; "bench" for that of the bench's controller, None for none.
    air:
        Temperature, pressure, humidity; the campaign's when left out.
    winding_temperature_c, magnet_temperature_c:
        Temperatures of the motor [°C].

    Raises
    ------
    AnswerError
        A value outside what is allowed, or a propeller that is neither known nor a geometry.
    """
    check_interval(interval)
    if not (math.isfinite(voltage_v) and 0.0 < voltage_v <= 1000.0):
        raise AnswerError(
            "voltage", voltage_v, "above 0 and up to 1000 V", "Give the supply's voltage in volts."
        )
    grid = _grid(throttle)
    rows, warnings = _rows(count(fit), draws)
    prop = propeller_draws(fit, propeller)
    drive = drive_of(
        fit,
        current_limit=current_limit,
        winding_temperature_c=winding_temperature_c,
        magnet_temperature_c=magnet_temperature_c,
        rows=rows,
    )
    around = campaign_air(fit) if air is None else air
    density = air_density(around.temperature_c, around.pressure_hpa, around.humidity_pct)
    points = operating_points(grid, voltage_v, drive, load_of(prop, float(density), rows))
    curves = _curves(points, interval)
    warnings += propeller_cautions(fit, prop)
    warnings += parameter_cautions(fit)
    warnings += envelope_cautions(fit, prop, voltage_v, curves, grid)
    warnings += running_cautions(
        curves,
        grid,
        points.limited.mean(axis=0),
        1.0 - points.turning.mean(axis=0),
        prop,
        around,
    )
    return Prediction(
        motor=fit.motor,
        fit_id=fit.fit_id,
        propeller=propeller,
        voltage_v=float(voltage_v),
        interval=float(interval),
        draws=points.speed.shape[0],
        throttle=grid,
        curves=curves,
        warnings=tuple(warnings),
    )


def _grid(throttle: Sequence[float] | NDArray[Any] | None) -> FloatArray:
    grid = np.asarray(DEFAULT_THROTTLE if throttle is None else throttle, dtype=np.float64)
    if grid.ndim != 1 or not 1 <= grid.size <= MAX_THROTTLES:
        raise AnswerError(
            "throttle", grid.shape, f"a list of 1 to {MAX_THROTTLES} points", "Give, for example, 0.2,0.4."
        )
    outside = grid[~((grid >= 0.0) & (grid <= 1.0))]
    if outside.size:
        raise AnswerError(
            "throttle",
            float(outside[0]),
            "fractions from 0 to 1",
            "Full throttle is 1, not 100; a fifth is 0.2.",
        )
    return grid


def _rows(size: int, draws: int | None) -> tuple[NDArray[np.intp] | None, list[Caution]]:
    """Which draws to use: evenly spaced ones, so that every chain gives its share; None for all."""
    if draws is None:
        return None, []
    if draws < 1:
        raise AnswerError("draws", draws, f"a whole number from 1 to {size}", "Leave it out to use them all.")
    if draws > size:
        text = f"{draws} draws were asked for; the fit holds {size}, and all of them were used."
        return None, [Caution("fewer-draws", text)]
    return np.floor(np.arange(draws) * (size / draws)).astype(np.intp), []


def _curves(points: OperatingPoints, interval: float) -> dict[str, Band]:
    electrical = points.electrical_power
    with np.errstate(divide="ignore", invalid="ignore"):
        efficiency = np.where(electrical > 0.0, points.mechanical_power / electrical, np.nan)
        grams_per_watt = np.where(electrical > 0.0, points.thrust * (1000.0 / GRAVITY) / electrical, np.nan)
    values = {
        "speed_rpm": points.speed * (60.0 / (2.0 * math.pi)),
        "thrust_n": points.thrust,
        "torque_nm": points.torque,
        "current_a": points.bus_current,
        "motor_current_a": points.motor_current,
        "electrical_power_w": electrical,
        "mechanical_power_w": points.mechanical_power,
        "motor_efficiency": efficiency,
        "thrust_per_watt_g": grams_per_watt,
    }
    return bands({name: array.T for name, array in values.items()}, interval)
