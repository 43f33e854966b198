"""The slower questions to a posterior: sensitivity to priors, influence of runs, misfit by part."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.draws import parameters_of
from motorfit.inference.influence import influences
from motorfit.inference.misfit import misfits
from motorfit.inference.sensitivity import largest, prior_parts, scaled_moves
from motorfit.inference.target import Target

__all__ = ["scrutinise"]

Array = npt.NDArray[np.float64]

_DRAWS, _REPLICAS = 300, 40
_SEED = 20260
_HEADLINE = (
    "kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia", "thrust_coefficient",
    "torque_coefficient", "prop_inertia",
)  # fmt: skip
_STRONG = 0.3
"""Shift between the powers, in standard deviations, from which a parameter is said to lean on a prior."""

_FAR = 3.0
_OFF = 0.002
"""Relative misfit below which nobody needs to know."""

_SAID = 4


def scrutinise(target: Target, z: Array) -> dict[str, Any]:
    """Answer them from draws (draws, coordinates); JSON values, with `sentences`.

    A fixed selection of the draws is used, with random numbers of its own: same fit, same answer.
    """
    rng = np.random.default_rng(_SEED)
    if target.flat.h.size == 0:
        return {"sentences": []}
    some = z[rng.permutation(z.shape[0])[:_DRAWS]]
    parameters = _headline(target, some)
    parts = prior_parts(target, some)
    rows = target.residuals(some)
    likelihood = -0.5 * np.sum(rows[:, : target.data_rows] ** 2, axis=1)
    found: dict[str, Any] = {
        "sensitivity": {
            "machine_priors": scaled_moves(parts["machines"], parameters),
            "sensor_priors": scaled_moves(parts["sensors"], parameters),
            "data": scaled_moves(likelihood, parameters),
        },
        "runs": influences(target, rows, parameters),
        "misfit": misfits(target, some[:_REPLICAS], rng),
    }
    found["sentences"] = [
        *_leaning(found["sensitivity"]),
        *_pulling(found["runs"]),
        *_missing(found["misfit"]),
    ]
    return found


def _headline(target: Target, z: Array) -> dict[str, Array]:
    """Parameters that readers ask for, by name and owner, (draws,)."""
    v = target.values(z)
    out: dict[str, Array] = {}
    propellers = [p.id for p in target.graph.campaign.propellers]
    for motor in target.graph.motors:
        draws = parameters_of(target.graph, v, motor.id, (1, z.shape[0]))
        for name in _HEADLINE:
            if name not in draws:
                continue
            if draws[name].ndim == 2:
                out[f"{name}[{motor.id}]"] = draws[name][0]
                continue
            for k, propeller in enumerate(propellers):
                if any(r.run.propeller == propeller for r in target.graph.runs):
                    out[f"{name}[{propeller}]"] = draws[name][0, :, k]
    return out


def _leaning(sensitivity: Mapping[str, Any]) -> list[str]:
    said = []
    for part, what, remedy in (
        (
            "machine_priors",
            "the priors of motors and propellers",
            "Check these priors, or add the run that `motorfit next` names.",
        ),
        (
            "sensor_priors",
            "the sensors' declared calibration",
            "Calibrate the sensors, or make sure that their doubts are right.",
        ),
    ):
        moves = sensitivity[part]["moves"]
        low, high = sensitivity[part]["powers"]
        names = [
            n for n in largest(moves, lambda m: abs(m["shift_sd"])) if abs(moves[n]["shift_sd"]) > _STRONG
        ]
        if names:
            listed = ", ".join(f"{n} ({moves[n]['shift_sd']:+.2f} sd)" for n in names[:_SAID])
            said.append(
                f"Leaning on {what}: between powers {low:g} and {high:g} of it the mean moves for "
                f"{listed}. {remedy}"
            )
    return said


def _pulling(runs: list[dict[str, Any]]) -> list[str]:
    said = []
    alone = [r["run"] for r in runs if r["pareto_k"] is not None and r["pareto_k"] > 0.7]
    if alone:
        more = f" and {len(alone) - _SAID} more" if len(alone) > _SAID else ""
        said.append(
            f"{', '.join(alone[:_SAID])}{more}: weighs too much for reweighting to say what the fit would be "
            "without it (Pareto k above 0.7); `motorfit holdout --run ID` fits again and tells."
        )
    for r in sorted(runs, key=lambda r: -r["misfit"])[:_SAID]:
        if r["misfit"] > 1.5:
            said.append(
                f"{r['run']} is off by {r['misfit']:.1f} times what its noise explains: look at its log, and "
                "at what was different in it."
            )
    return said


_WORDS = {
    "speed": "at {low:.0f} to {high:.0f} rad/s",
    "time": "between {low:.0%} and {high:.0%} of a run",
    "winding_temperature": "with the winding modelled at {low:.0f} to {high:.0f} °C",
    "direction": "while the shaft {turns}",
}
_TURNS = {-1.0: "slows down", 0.0: "is steady", 1.0: "speeds up"}
_CURES = {
    "speed": "The model misses something that depends on speed.",
    "time": "Something drifts during a run: warmth, a pack, a zero.",
    "winding_temperature": "Heating is not described well: log the winding's temperature.",
    "direction": "A lag, a delay or an inertia is not described well: steps would tell which.",
}


def _missing(misfit: list[dict[str, Any]]) -> list[str]:
    far = [m for m in misfit if abs(m["deviations"]) > _FAR and abs(m["off"]) > _OFF]
    said = []
    for m in sorted(far, key=lambda m: -abs(m["deviations"]))[:_SAID]:
        where = _WORDS[m["axis"]].format(low=m["low"], high=m["high"], turns=_TURNS.get(m["low"], ""))
        way = "above" if m["off"] > 0.0 else "below"
        said.append(
            f"{m['channel']} {where} is {100.0 * abs(m['off']):.2g} % of full scale {way} what the posterior "
            f"expects ({abs(m['deviations']):.1f} deviations). {_CURES[m['axis']]}"
        )
    return said
