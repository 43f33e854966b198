"""What a reader of a step must be told: what was not learned, and what a jump of throttle leaves out."""

from __future__ import annotations

import numpy as np

from motorfit.answers.cautions import Caution, learned
from motorfit.answers.lessons import teacher
from motorfit.answers.posterior import FitLike, FloatArray, flat
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.show import LEARNED_FROM, contraction

ROUGH_INERTIA = 0.15
"""Relative doubt of a propeller's inertia [1] above which times are said to rest on it."""


def step_cautions(
    fit: FitLike,
    propeller: PropellerDraws,
    rise_time_s: FloatArray,
    turning: float,
    low: float,
    high: float,
) -> list[Caution]:
    """Name what times rest on.

    Of a ``propeller`` outside the fit's campaign the motor's inertia is looked at, and the doubt of its own.
    ``rise_time_s`` (S,) has NaN where the speed does not change; ``turning`` is the share of draws whose
    shaft turns at the lower throttle; ``low`` and ``high`` are the throttles [1].
    """
    cautions = []
    name = propeller.name
    if propeller.origin != "fit" and _spread(propeller) > ROUGH_INERTIA:
        doubt = 100.0 * _spread(propeller)
        cautions.append(
            Caution(
                "inertia-not-learned",
                f"The moment of inertia of {name} is known to no better than {doubt:.0f} % (one sigma), and "
                f"times are as uncertain as it is; what would teach it: {teacher('prop_inertia', name)}.",
            )
        )
    elif not _inertia_learned(fit, name):
        cautions.append(
            Caution(
                "inertia-not-learned",
                f"The moment of inertia of {fit.motor} with {name} was not learned from these runs, "
                "and times are as uncertain as it is; what would teach it: "
                f"{teacher('prop_inertia', name)}.",
            )
        )
    if "braking_share" not in fit.draws or not learned(fit, "braking_share"):
        cautions.append(
            Caution(
                "braking-not-learned",
                "How hard the controller brakes was not learned from these runs, so the fall may take much "
                f"longer or shorter; what would teach it: {teacher('braking_share')}.",
            )
        )
    still = float(np.mean(np.isnan(rise_time_s)))
    if still >= 0.05:
        cautions.append(
            Caution(
                "no-speed-change",
                f"In {100 * still:.0f} % of the draws the speed does not rise between throttle {low:g} and "
                f"{high:g} (the current limit holds at both, or the shaft stands): no times there.",
            )
        )
    if turning < 0.95:
        cautions.append(
            Caution(
                "starts-from-rest",
                f"At throttle {low:g} the shaft may stand still; how a controller catches a motor from rest "
                "is not modelled and takes longer.",
            )
        )
    return cautions


def _spread(propeller: PropellerDraws) -> float:
    """Doubt of a propeller's own inertia, relative [1]; one of which there is nothing has no bound."""
    return float("inf") if propeller.inertia is None else float(np.std(np.log(propeller.inertia)))


def _inertia_learned(fit: FitLike, propeller: str) -> bool:
    """Steps teach the sum of rotor and propeller, whatever they teach of either."""
    if propeller not in fit.propellers or not {"rotor_inertia", "prop_inertia"} <= fit.prior.keys():
        return learned(fit, "rotor_inertia")
    index = fit.propellers.index(propeller)
    total, prior = (
        flat(table["rotor_inertia"]) + flat(table["prop_inertia"])[:, index]
        for table in (fit.draws, fit.prior)
    )
    return contraction(total, prior) >= LEARNED_FROM
