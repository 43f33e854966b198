"""How warm a motor gets in endless running, and the current that meets a limit: where heat was learned."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.posterior import FitLike, FloatArray, flat, parameter
from motorfit.answers.question import RPM_PER_RAD_S, Machine
from motorfit.answers.remember import remembered
from motorfit.answers.show import LEARNED_FROM, contraction
from motorfit.physics.drive import Drive
from motorfit.physics.endurance import Cooling, heat_sources, settled_temperatures
from motorfit.physics.motor import MAGNET_COEFFICIENT

_NEEDED = ("winding_heat_capacity", "winding_time_constant", "body_heat_capacity", "body_time_constant")
_FEW = 40
"""Draws that a warning of temperature looks at."""


@dataclass(frozen=True)
class Warmth:
    """Each (S,): settled winding temperature [°C], and the continuous motor current [A] at the limit."""

    winding_c: FloatArray
    continuous_current_a: FloatArray


def few_draws(draws: int) -> NDArray[np.intp]:
    """Return which of so many draws a warning of temperature looks at: a few dozen evenly spaced ones."""
    return np.unique(np.linspace(0, draws - 1, _FEW).astype(np.intp))


def heat_learned(fit: FitLike) -> bool:
    """True where the runs narrowed the thermal resistance from the winding to the air below its prior."""
    return remembered(fit, "heat learned", None, lambda: _heat_learned(fit))


def _heat_learned(fit: FitLike) -> bool:
    if not all(name in fit.draws and name in fit.prior for name in _NEEDED):
        return False
    posterior, prior = (_resistance({n: flat(table[n]) for n in _NEEDED}) for table in (fit.draws, fit.prior))
    return contraction(posterior, prior) >= LEARNED_FROM


def _resistance(heat: dict[str, FloatArray]) -> FloatArray:
    """Winding to air [K/W]: the body gets all heat, so the two resistances add for heat of the winding."""
    total: FloatArray = (
        heat["winding_time_constant"] / heat["winding_heat_capacity"]
        + heat["body_time_constant"] / heat["body_heat_capacity"]
    )
    return total


def warmth(machine: Machine, omega: FloatArray, torque: FloatArray, limit_c: float) -> Warmth | None:
    """Temperature at a speed [rad/s] against a torque [N m], both (S,), and the current at ``limit_c`` [°C].

    The continuous current is that of this motor with this propeller, turned ever faster until the settled
    winding meets the limit; cooling is that of the bench. None where heat was not learned.
    """
    if not heat_learned(machine.fit):
        return None
    cooling = _cooling(machine)
    winding, _, _ = settled_temperatures(omega, torque, machine.drive, cooling)
    return Warmth(winding, _continuous_current(machine, cooling, limit_c))


def settled_along(
    machine: Machine, speed_rpm: FloatArray, torque_nm: FloatArray, columns: NDArray[np.intp]
) -> FloatArray | None:
    """Winding temperature [°C] of endless running, (F, columns); None where heat was not learned.

    For a warning, not for a band: at a few points (indices ``columns``) of curves (F, G) of the draws that
    `few_draws` names. Speed and torque are held at those of the cold motor.
    """
    if not heat_learned(machine.fit):
        return None
    rows = few_draws(machine.draws)
    omega, torque = speed_rpm[:, columns] / RPM_PER_RAD_S, torque_nm[:, columns]
    gone = ~(np.isfinite(omega) & np.isfinite(torque))

    def spread(value: Any) -> Any:
        array = np.asarray(value, dtype=np.float64)
        return np.repeat(array[rows], columns.size) if array.ndim else value

    drive = Drive(**{f.name: spread(getattr(machine.drive, f.name)) for f in fields(Drive)})
    whole = _cooling(machine)
    cooling = Cooling(spread(whole.winding), spread(whole.body), spread(whole.magnet_loss), whole.air_c)
    winding, _, _ = settled_temperatures(
        np.where(gone, 0.0, omega).ravel(), np.where(gone, 0.0, torque).ravel(), drive, cooling
    )
    return np.where(gone, np.nan, winding.reshape(omega.shape))


def _cooling(machine: Machine) -> Cooling:
    """What carries heat away, as on the bench."""
    learned = parameter(machine.fit, "magnet_temperature_coefficient") is not None
    return Cooling(
        winding=machine.own("winding_time_constant", np.nan) / machine.own("winding_heat_capacity", np.nan),
        body=machine.own("body_time_constant", np.nan) / machine.own("body_heat_capacity", np.nan),
        magnet_loss=machine.own("magnet_temperature_coefficient", np.nan) if learned else MAGNET_COEFFICIENT,
        air_c=machine.air.temperature_c,
    )


def _continuous_current(machine: Machine, cooling: Cooling, limit_c: float) -> FloatArray:
    """Bisection on the logarithm of speed; at the limit the winding's temperature is known."""
    load, size = machine.load, machine.draws
    factor, reference = load.torque_factor(), load.reference_speed()
    exponent = np.asarray(load.torque_exponent)
    r_w, r_b = np.asarray(cooling.winding), np.asarray(cooling.body)
    low, high = np.full(size, np.log(1.0)), np.full(size, np.log(2e4))
    current = np.full(size, np.nan)
    for _ in range(50):
        w = np.exp(0.5 * (low + high))
        torque = factor * w * w * (w / reference) ** exponent
        body = np.full(size, cooling.air_c)
        for _ in range(3):
            current, copper, iron = heat_sources(w, torque, machine.drive, limit_c, body, cooling.magnet_loss)
            # no current gives the torque there: too fast whatever the temperature
            body = np.nan_to_num(np.clip(limit_c - copper * r_w, cooling.air_c, limit_c), nan=limit_c)
        too_warm = ~(cooling.air_c + (copper + iron) * r_b + copper * r_w <= limit_c)
        low, high = np.where(too_warm, low, np.log(w)), np.where(too_warm, np.log(w), high)
    return np.asarray(current, dtype=np.float64)
