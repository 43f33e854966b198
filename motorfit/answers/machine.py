"""Motor and controller of a prediction: draws brought to the asked temperatures and limit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import bench_current_limit
from motorfit.answers.posterior import FitLike, FloatArray, parameter
from motorfit.physics import motor as motor_physics
from motorfit.physics.drive import Drive

REFERENCE_C = motor_physics.REFERENCE_TEMPERATURE_C

LimitChoice = float | Literal["bench"] | None


def drive_of(
    fit: FitLike,
    *,
    current_limit: LimitChoice = "bench",
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
    rows: NDArray[np.intp] | None = None,
) -> Drive:
    """Return motor and controller of a fit, draw by draw, at given temperatures, behind an ideal supply.

    Parameters
    ----------
    fit:
        A stored fit.
    current_limit:
        Of motor current [A]; "bench" for the bench's own (learned where it was reached), None for none.
    winding_temperature_c, magnet_temperature_c:
        Temperatures [°C]; the fit's parameters are those at 25 °C.
    rows:
        Which draws to take; all when left out.

    Raises
    ------
    AnswerError
        A temperature or limit out of range, or a fit without a needed parameter.
    """
    for name, value in (
        ("winding_temperature_c", winding_temperature_c),
        ("magnet_temperature_c", magnet_temperature_c),
    ):
        if not -60.0 <= value <= 250.0:
            raise AnswerError(name, value, "-60 to 250 degC", "Give the temperature in degrees Celsius.")
    kv = _needed(fit, "kv")
    size = len(kv)
    magnet = parameter(fit, "magnet_temperature_coefficient")
    loss = motor_physics.MAGNET_COEFFICIENT if magnet is None else magnet
    # The saturation and drag currents are kept: only flux and copper are taken to change with heat.
    flux = np.asarray(motor_physics.magnet_factor(magnet_temperature_c, loss))
    resistance = motor_physics.resistance_at(_needed(fit, "winding_resistance"), winding_temperature_c)
    drawn: Mapping[str, FloatArray] = {
        "k_e": motor_physics.back_emf_constant(kv) * flux,
        "k_t": _needed(fit, "kt") * flux,
        "resistance": np.asarray(resistance),
        "drag_static": _needed(fit, "drag_current_static"),
        "drag_slope": _needed(fit, "drag_current_slope"),
        "drag_windage": _or(fit, "drag_current_windage", 0.0, size),
        "saturation_current": _or(fit, "saturation_current", math.inf, size),
        "controller_resistance": _or(fit, "controller_resistance", 0.0, size),
        "idle_current": _or(fit, "controller_idle_current", 0.0, size),
        "current_limit": _limit(fit, current_limit, size),
        "duty_slope": _or(fit, "duty_slope", 1.0, size),
        "duty_curvature": _or(fit, "duty_curvature", 0.0, size),
        "duty_cubic": _or(fit, "duty_cubic", 0.0, size),
    }
    return Drive(**(drawn if rows is None else {name: values[rows] for name, values in drawn.items()}))


def _needed(fit: FitLike, name: str) -> FloatArray:
    values = parameter(fit, name)
    if values is None:
        raise AnswerError("fit", fit.fit_id, f"a fit that holds {name}", "Fit the campaign again.")
    return values


def _or(fit: FitLike, name: str, otherwise: float, size: int) -> FloatArray:
    """Draws of a parameter; ``otherwise`` (what the plain model has) where the fit does without it."""
    values = parameter(fit, name)
    return np.full(size, otherwise) if values is None else values


def _limit(fit: FitLike, choice: LimitChoice, size: int) -> FloatArray:
    if choice is None:
        return np.full(size, math.inf)
    if isinstance(choice, str):
        if choice != "bench":
            raise AnswerError(
                "current_limit", choice, "a current in A, 'bench' or none", "Give, for example, 40."
            )
        nominal = bench_current_limit(fit)
        if nominal is None:
            return np.full(size, math.inf)
        return _or(fit, "current_limit", nominal, size)
    if not (math.isfinite(choice) and choice > 0.0):
        raise AnswerError(
            "current_limit", choice, "a motor current above 0 A, or none", "Give, for example, 40."
        )
    return np.full(size, float(choice))
