"""The propeller of a prediction: from the posterior, or from its geometry alone."""

from __future__ import annotations

import math
import re
import zlib
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import propeller_facts
from motorfit.answers.posterior import FitLike, FloatArray, count, parameter
from motorfit.inference.priors import BELIEFS
from motorfit.physics import propeller as propeller_physics
from motorfit.physics.drive import Load

METRES_PER_INCH = 0.0254
BLADE_EXPONENT = 0.6  # C_T of B blades is that of two times (B/2) to this
_GEOMETRY = re.compile(r"(\d{1,3}(?:\.\d{1,4})?)x(\d{1,3}(?:\.\d{1,4})?)x(\d{1,2})")


@dataclass(frozen=True)
class PropellerDraws:
    """A propeller's static coefficients, draw by draw.

    ``thrust`` and ``torque`` are C_T and C_Q [1] at ``reference_rev_per_s``; their Reynolds exponents [1];
    all (S,). ``origin`` says whether they come from the fit or from geometry alone.
    """

    name: str
    origin: Literal["fit", "geometry"]
    diameter_m: float
    blades: int
    reference_rev_per_s: float
    thrust: FloatArray
    torque: FloatArray
    thrust_exponent: FloatArray
    torque_exponent: FloatArray


def propeller_draws(fit: FitLike, propeller: str) -> PropellerDraws:
    """Return the coefficients of a propeller by id or, where no id matches, by its ``DxPxB``.

    Parameters
    ----------
    fit:
        A stored fit; its own ids win over a geometry that reads the same.
    propeller:
        An id of the fit's campaign, or diameter x pitch x blades in inches, such as ``7x4.5x2``.

    Raises
    ------
    AnswerError
        Neither a known id nor a geometry within reach.
    """
    if propeller in fit.propellers:
        return _from_fit(fit, propeller)
    match = _GEOMETRY.fullmatch(propeller.strip().lower())
    if match is None:
        known = ", ".join(fit.propellers) or "none in this fit"
        near = get_close_matches(propeller, fit.propellers, n=1)
        hint = f"Did you mean {near[0]!r}? " if near else ""
        raise AnswerError(
            "propeller",
            propeller,
            f"an id of the fit ({known}) or DIAMETERxPITCHxBLADES in inches",
            f"{hint}For a propeller that was not tested, give its geometry, such as 7x4.5x2.",
        )
    diameter, pitch, blades = float(match[1]), float(match[2]), int(match[3])
    if not (1.0 <= diameter <= 60.0 and 0.2 <= pitch / diameter <= 2.0 and 1 <= blades <= 12):
        raise AnswerError(
            "propeller",
            propeller,
            "a diameter of 1 to 60 inches, a pitch of 0.2 to 2 diameters, 1 to 12 blades",
            "Give diameter, pitch (both in inches) and blades in that order, such as 7x4.5x2.",
        )
    return _from_geometry(fit, propeller, diameter * METRES_PER_INCH, blades)


def _from_fit(fit: FitLike, propeller: str) -> PropellerDraws:
    facts = propeller_facts(fit, propeller)
    thrust, torque = (parameter(fit, f"{kind}_coefficient", propeller) for kind in ("thrust", "torque"))
    if thrust is None or torque is None:
        raise AnswerError(
            "propeller", propeller, "a propeller with coefficients in the fit", "Fit the campaign again."
        )
    still = np.zeros(len(thrust))
    thrust_exponent = parameter(fit, "thrust_reynolds_exponent", propeller)
    torque_exponent = parameter(fit, "torque_reynolds_exponent", propeller)
    return PropellerDraws(
        name=propeller,
        origin="fit",
        diameter_m=facts.diameter_m,
        blades=facts.blades,
        reference_rev_per_s=facts.reference_rev_per_s,
        thrust=thrust,
        torque=torque,
        thrust_exponent=still if thrust_exponent is None else thrust_exponent,
        torque_exponent=still if torque_exponent is None else torque_exponent,
    )


def _from_geometry(fit: FitLike, name: str, diameter_m: float, blades: int) -> PropellerDraws:
    """Draw coefficients from what is known of propellers in general.

    The beliefs are those every fit starts from: C_T lognormal, growing with (B/2)^0.6; figure of merit
    logit-normal; C_Q from both; Reynolds exponents normal. Seeded by the fit and the geometry: the same
    question has the same answer.
    """
    size = count(fit)
    seed = zlib.crc32(f"{fit.fit_id}/{diameter_m:.6f}/{blades}".encode())
    rng = np.random.default_rng(seed)
    normal = rng.standard_normal((4, size))
    belief = BELIEFS["thrust_coefficient"]
    thrust = belief.center * (0.5 * blades) ** BLADE_EXPONENT * np.exp(belief.spread * normal[0])
    belief = BELIEFS["figure_of_merit"]
    merit = 1.0 / (
        1.0 + np.exp(-(math.log(belief.center / (1.0 - belief.center)) + belief.spread * normal[1]))
    )
    torque = np.asarray(propeller_physics.torque_coefficient(thrust, merit))
    return PropellerDraws(
        name=name,
        origin="geometry",
        diameter_m=diameter_m,
        blades=blades,
        reference_rev_per_s=propeller_physics.REFERENCE_REV_PER_S,
        thrust=thrust,
        torque=torque,
        thrust_exponent=_real("thrust_reynolds_exponent", normal[2]),
        torque_exponent=_real("torque_reynolds_exponent", normal[3]),
    )


def _real(name: str, normal: FloatArray) -> FloatArray:
    belief = BELIEFS[name]
    values: FloatArray = belief.center + belief.spread * normal
    return values


def load_of(propeller: PropellerDraws, density: float, rows: NDArray[np.intp] | None = None) -> Load:
    """Return a propeller in air of a density [kg/m³] as the steady solver takes it; ``rows`` picks draws."""

    def pick(values: FloatArray) -> FloatArray:
        return values if rows is None else values[rows]

    return Load(
        thrust_coefficient=pick(propeller.thrust),
        torque_coefficient=pick(propeller.torque),
        diameter=propeller.diameter_m,
        density=density,
        thrust_exponent=pick(propeller.thrust_exponent),
        torque_exponent=pick(propeller.torque_exponent),
        reference_rev_per_s=propeller.reference_rev_per_s,
    )
