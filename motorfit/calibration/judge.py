"""Where the truth of a bench lies among the draws of its posterior: parameters, differences, predictions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.answers.axis import axis_of
from motorfit.answers.question import machine_of
from motorfit.answers.steady import steady_draws
from motorfit.calibration.limit import information_limit, true_position
from motorfit.inference.draws import parameters_of, prior_positions
from motorfit.inference.facts import constant_facts
from motorfit.inference.optimum import OptimumError
from motorfit.inference.positions import Positions
from motorfit.synthetic.truth import TrueCurve, Truth

__all__ = ["CURVES", "PAIRED", "compared", "place", "score"]

Array = npt.NDArray[np.float64]

PAIRED = ("kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia")
"""Parameters of which differences between two motors are judged."""

CURVES = ("speed_rpm", "thrust_n", "torque_nm", "current_a", "electrical_power_w")
"""Predicted curves that are judged."""

_MAY_BE_ABSENT = (
    "saturation_current", "heat_capacity", "time_constant", "windage", "idle_current", "lag_",
)  # fmt: skip
_PRIOR_DRAWS = 800


@dataclass(frozen=True)
class Fitted:
    """A motor's posterior as answers want it."""

    motor: str
    fit_id: str
    propellers: tuple[str, ...]
    draws: Mapping[str, Array]
    prior: Mapping[str, Array]
    constant: Mapping[str, Any]
    attributes: Mapping[str, Any]


def place(draws: npt.ArrayLike, true: float) -> float:
    """Share of draws below the truth, ties half: its relative rank [1]."""
    flat = np.asarray(draws, dtype=np.float64).ravel()
    return float(np.mean(flat < true) + 0.5 * np.mean(flat == true))


def score(draws: npt.ArrayLike, true: float) -> dict[str, float]:
    """`z`: truth less mean in standard deviations; `u`: share of draws below the truth, ties counted half.

    ``draws`` of any shape and ``true`` in the same unit.
    """
    flat = np.asarray(draws, dtype=np.float64).ravel()
    sd = float(flat.std())
    # draws that are all one value have no scale; a z of 0 or an infinite one would both mislead
    z = float(np.clip((true - flat.mean()) / sd, -99.0, 99.0)) if sd > 0.0 else 99.0
    return {"z": z, "u": place(flat, true)}


def compared(found: Positions, truth: Truth, names: tuple[str, ...], seed: int) -> dict[str, Any]:
    """Posterior and truth of a bench: the second half of its record.

    Parameters
    ----------
    found : draws of the posterior
    truth : of the bench
    names : parameters to score
    seed : of the draws of the prior

    Returns
    -------
    ``chi2`` of the truth, per residual; ``parameters`` of the first motor and propeller, name -> `z`, `u`,
    `shrink` (sd over the prior's) and `width` (over that of the information limit), unrounded units [1];
    ``pairs``, name -> `z`, `u` of the difference of the first two motors, `p` that the first is greater,
    `greater` whether it is; condition -> curve -> a list over throttle: ``curves`` with ranks of the truth,
    ``errors`` of the median relative to the truth [1], ``widths`` with half the 90 % band over the truth [1].
    """
    target = found.target
    rng = np.random.default_rng(seed)
    values = target.values(found.z)
    believed = target.values(prior_positions(target.graph, rng, _PRIOR_DRAWS))
    at = true_position(target, truth)
    rows = target.residuals(at[None, :])[0, : target.data_rows]
    chi2 = float(np.mean(rows**2))
    fits = []
    for motor in target.graph.motors:
        draws = parameters_of(target.graph, values, motor.id, (1, found.z.shape[0]))
        prior = parameters_of(target.graph, believed, motor.id, (1, _PRIOR_DRAWS))
        propellers = tuple(p.id for p in target.graph.campaign.propellers)
        facts = constant_facts(target.graph, motor.id)
        fits.append(Fitted(motor.id, "", propellers, draws, prior, facts, {}))
    try:
        limit = information_limit(target, at, fits[0].motor)
    except OptimumError:
        limit = {}
    out: dict[str, Any] = {"parameters": _parameters(fits[0], limit, truth, names)}
    if np.isfinite(chi2):
        out["chi2"] = float(f"{chi2:.4g}")
    if len(fits) > 1:
        out["pairs"] = _pairs(fits[0], fits[1], truth)
    curves: dict[str, dict[str, list[float]]] = {}
    errors: dict[str, dict[str, list[float]]] = {}
    widths: dict[str, dict[str, list[float]]] = {}
    for curve in truth.curves:
        fit = next((f for f in fits if f.motor == curve.motor), None)
        # motors of a bench share its errors: one a condition, else their ranks would count twice
        if fit is not None and curve.condition not in curves:
            made = _curve(fit, curve, truth)
            for table, part in zip((curves, errors, widths), made, strict=True):
                table[curve.condition] = part
    return out | {"curves": curves, "errors": errors, "widths": widths}


def _parameters(
    fit: Fitted, limit: Mapping[str, Array], truth: Truth, names: tuple[str, ...]
) -> dict[str, dict[str, float]]:
    found = {}
    for name in names:
        true = _true(name, fit, truth)
        if name not in fit.draws or true is None:
            continue
        draws, prior = _first(fit.draws[name]), _first(fit.prior[name])
        one = {key: round(value, 5) for key, value in score(draws, true).items()}
        sd, before = float(draws.std()), float(prior.std())
        least = float(np.ravel(limit[name])[0]) if name in limit else 0.0
        for key, against in (("shrink", before), ("width", least)):
            if np.isfinite(against) and against > 0.0:
                one[key] = float(f"{sd / against:.3g}")
        found[name] = one
    return found


def _first(draws: Array) -> Array:
    """Draws (1, draws) or of the first of the propellers, flat."""
    return np.ravel(draws[..., 0] if draws.ndim == 3 else draws)


def _true(name: str, fit: Fitted, truth: Truth) -> float | None:
    """What is true of a parameter; None where the bench does not have it at all."""
    screw = truth.propellers[fit.propellers[0]].parameters if fit.propellers else {}
    for owner in (truth.motors[fit.motor].parameters, screw, truth.stand):
        if name in owner:
            value = float(owner[name])
            absent = value == 0.0 and any(part in name for part in _MAY_BE_ABSENT)
            return None if absent else value  # on a bound of its prior a rank says nothing
    return None


def _pairs(a: Fitted, b: Fitted, truth: Truth) -> dict[str, dict[str, float]]:
    out = {}
    for name in PAIRED:
        gap = np.ravel(a.draws[name]) - np.ravel(b.draws[name])
        true = truth.value(name, motor=a.motor) - truth.value(name, motor=b.motor)
        one = score(gap, true) | {"p": float(np.mean(gap > 0.0)), "greater": float(true > 0.0)}
        out[name] = {key: round(value, 5) for key, value in one.items()}
    return out


def _curve(fit: Fitted, curve: TrueCurve, truth: Truth) -> list[dict[str, list[float]]]:
    """Ranks of a true curve's points among predicted ones, where these are finite; errors; half widths."""
    screw = truth.propellers[curve.propeller]
    shape = f"{screw.diameter_in:g}x{screw.pitch_in:g}x{screw.blades}"
    machine = machine_of(
        fit, curve.propeller if curve.propeller in fit.propellers else shape, voltage_v=curve.voltage_v
    )
    found = steady_draws(machine, axis_of("throttle", None, curve.values["throttle"])).values
    made: list[dict[str, list[float]]] = [{}, {}, {}]
    for name in CURVES:
        points = [
            (found[name][:, g], true)
            for g, true in enumerate(curve.values[name])
            if np.isfinite(found[name][:, g]).all()
        ]
        made[0][name] = [round(place(draws, true), 4) for draws, true in points]
        edges = [np.quantile(draws, (0.05, 0.5, 0.95)) / true for draws, true in points]
        made[1][name] = [float(f"{middle - 1.0:.3g}") for _, middle, _ in edges]
        made[2][name] = [float(f"{0.5 * (high - low):.3g}") for low, _, high in edges]
    return made
