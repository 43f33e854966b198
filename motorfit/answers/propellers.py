"""The propeller of a question: from the fit, from another fit of the library, as stated, or by its geometry.

Whatever the tests did not teach comes from what propellers have in common (`propeller_kin`), sharpened by the
propellers of the fit's own campaign, row by row, and by those of the rest of the library.
"""

from __future__ import annotations

import math
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import propeller_facts
from motorfit.answers.posterior import FitLike, FloatArray, count, parameter
from motorfit.answers.propeller_kin import (
    MOST_TAUGHT,
    Geometry,
    from_components,
    sharpened,
    telling,
    unlikeness,
)
from motorfit.answers.propeller_stated import StatedPropeller
from motorfit.answers.propeller_tested import (
    LibraryPropeller,
    beside,
    brought,
    campaign_of,
    propellers_tested_in,
    untaught,
)
from motorfit.inference.priors import BELIEFS
from motorfit.physics import propeller as propeller_physics
from motorfit.physics.drive import Load

METRES_PER_INCH = 0.0254
_GEOMETRY = re.compile(r"(\d{1,3}(?:\.\d{1,4})?)x(\d{1,3}(?:\.\d{1,4})?)x(\d{1,2})")
_HIGHEST_MERIT = 0.97


@dataclass(frozen=True)
class PropellerDraws:
    """A propeller's static coefficients, draw by draw.

    ``thrust`` and ``torque`` are C_T and C_Q [1] at ``reference_rev_per_s``; their Reynolds exponents [1];
    ``inertia`` [kg m²]; all (S,), row i belonging with row i of the fit. ``origin`` says where they come
    from: ``fit`` (its campaign), ``library`` (another campaign, named by ``source``), ``stated`` (measured
    figures that the user gave) or ``geometry``. ``sharpened_by`` names the tested propellers that taught
    what is common, ``same_make`` those of them that are told to be of its make.
    """

    name: str
    origin: Literal["fit", "library", "stated", "geometry"]
    diameter_m: float
    blades: int
    reference_rev_per_s: float
    thrust: FloatArray
    torque: FloatArray
    thrust_exponent: FloatArray
    torque_exponent: FloatArray
    inertia: FloatArray | None = None
    source: str | None = None
    sharpened_by: tuple[str, ...] = ()
    same_make: tuple[str, ...] = ()


def propeller_draws(
    fit: FitLike,
    propeller: str | StatedPropeller,
    library: Sequence[LibraryPropeller] = (),
) -> PropellerDraws:
    """Return the coefficients of a propeller by id, by its ``DxPxB``, or as its user states it.

    Parameters
    ----------
    fit:
        A stored fit; its own ids win over those of the library, and those over a geometry that reads the
        same.
    propeller:
        An id of the fit's campaign or of the library (``ID@CAMPAIGN_FIT`` where several campaigns have
        it), or diameter x pitch x blades in inches, such as ``7x4.5x2``, or ``7x4.5x2@MAKE``; or a described
        propeller.
    library:
        Propellers tested in other campaigns, as `library_propellers` finds them.

    Raises
    ------
    AnswerError
        Neither a known id nor a geometry within reach, an id that several campaigns have, or a make that
        no tested propeller has.
    """
    if isinstance(propeller, StatedPropeller):
        return _stated(fit, propeller, library)
    if propeller in fit.propellers:
        return _from_fit(fit, propeller, library)
    name, _, behind = propeller.partition("@")
    held = [other for other in library if other.name == name and behind in ("", other.campaign_fit)]
    if len(held) > 1:
        choices = ", ".join(f"{other.name}@{other.campaign_fit}" for other in held)
        titles = "; ".join(sorted({other.campaign for other in held if other.campaign}))
        raise AnswerError(
            "propeller", propeller, f"one of {choices}", f"Several campaigns tested it ({titles}); name one."
        )
    if held:
        return _from_library(fit, held[0])
    geometry = geometry_of(name)
    if geometry is None:
        raise _unknown(fit, propeller, library)
    makes = sorted({other.make for other in (*propellers_tested_in(fit), *library)} - {""})
    if behind and behind not in makes:
        raise AnswerError(
            "propeller",
            propeller,
            f"a make after @ that a tested propeller has ({', '.join(makes) or 'none is told'})",
            "Makes are told in the campaign file, as make of a propeller; leave it out where it is another.",
        )
    return _from_geometry(fit, propeller, geometry, None, library, behind)


def geometry_of(text: str) -> Geometry | None:
    """Return the geometry that a ``DxPxB`` in inches reads as, or None where it is none.

    Raises
    ------
    AnswerError
        It is one, outside what is allowed.
    """
    match = _GEOMETRY.fullmatch(text.strip().lower())
    if match is None:
        return None
    diameter, pitch, blades = float(match[1]), float(match[2]), int(match[3])
    if not (1.0 <= diameter <= 60.0 and 0.2 <= pitch / diameter <= 2.0 and 1 <= blades <= 12):
        raise AnswerError(
            "propeller",
            text,
            "a diameter of 1 to 60 inches, a pitch of 0.2 to 2 diameters, 1 to 12 blades",
            "Give diameter, pitch (both in inches) and blades in that order, such as 7x4.5x2.",
        )
    return Geometry(diameter * METRES_PER_INCH, pitch * METRES_PER_INCH, blades)


def _unknown(fit: FitLike, propeller: str, library: Sequence[LibraryPropeller]) -> AnswerError:
    elsewhere = sorted({other.name for other in library} - set(fit.propellers))
    known = ", ".join(fit.propellers) or "none in this fit"
    more = f"; of the library: {', '.join(elsewhere[:12])}" if elsewhere else ""
    near = get_close_matches(propeller, [*fit.propellers, *elsewhere], n=1)
    hint = f"Did you mean {near[0]!r}? " if near else ""
    return AnswerError(
        "propeller",
        propeller,
        f"an id of the fit ({known}{more}) or DIAMETERxPITCHxBLADES in inches",
        f"{hint}For a propeller that was not tested, give its geometry, such as 7x4.5x2.",
    )


def _from_fit(fit: FitLike, propeller: str, library: Sequence[LibraryPropeller]) -> PropellerDraws:
    facts = propeller_facts(fit, propeller)
    if untaught(fit, propeller):
        # Declared, never run: its geometry and the tested ones say more than the prior that the fit
        # carried along.
        geometry = Geometry(facts.diameter_m, facts.pitch_m, facts.blades)
        made = _from_geometry(fit, propeller, geometry, None, library, facts.make)
        own = parameter(fit, "prop_inertia", propeller)
        return replace(made, origin="fit", inertia=made.inertia if own is None else own)
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
        inertia=parameter(fit, "prop_inertia", propeller),
        source=campaign_of(fit),
    )


def _from_library(fit: FitLike, other: LibraryPropeller) -> PropellerDraws:
    here = brought(fit, other)
    return PropellerDraws(
        name=here.name,
        origin="library",
        diameter_m=here.geometry.diameter_m,
        blades=here.geometry.blades,
        reference_rev_per_s=here.reference_rev_per_s,
        thrust=here.thrust,
        torque=here.torque,
        thrust_exponent=here.thrust_exponent,
        torque_exponent=here.torque_exponent,
        inertia=here.inertia,
        source=here.campaign_fit,
    )


def _from_geometry(
    fit: FitLike,
    name: str,
    geometry: Geometry,
    mass_kg: float | None,
    library: Sequence[LibraryPropeller],
    make: str,
) -> PropellerDraws:
    """Draw from what propellers have in common; seeded by campaign and geometry: the same question, the same
    answer.
    """
    size = count(fit)
    rng = _generator(fit, geometry)
    tested = (*propellers_tested_in(fit), *beside(fit, _nearest(geometry, make, library)))
    known = [t.known() for t in tested]
    stand = str(fit.attributes.get("bench", "")) or campaign_of(fit)
    drawn = sharpened(geometry, known, stand, size, rng, make=make)
    thrust, torque, thrust_exponent, torque_exponent = from_components(drawn)
    taught = [id(k) for k in telling(geometry, make, known)]
    by = [t for t, k in zip(tested, known, strict=True) if id(k) in taught]
    return PropellerDraws(
        name=name,
        origin="geometry",
        diameter_m=geometry.diameter_m,
        blades=geometry.blades,
        reference_rev_per_s=geometry.reference_rev_per_s,
        thrust=thrust,
        torque=torque,
        thrust_exponent=thrust_exponent,
        torque_exponent=torque_exponent,
        inertia=_inertia(geometry, mass_kg, rng.standard_normal((2, size))),
        sharpened_by=tuple(sorted(t.name for t in by)),
        same_make=tuple(sorted(t.name for t in by if make and t.make == make)),
    )


def _nearest(geometry: Geometry, make: str, library: Sequence[LibraryPropeller]) -> list[LibraryPropeller]:
    """Return those of a large library that may tell: of the same make, then the most alike."""

    def key(other: LibraryPropeller) -> tuple[bool, float, str, str]:
        return (*unlikeness(geometry, make, other.geometry, other.make), other.campaign_fit, other.name)

    return sorted(library, key=key)[:MOST_TAUGHT]


def _generator(fit: FitLike, geometry: Geometry) -> np.random.Generator:
    text = f"{campaign_of(fit)}/{geometry.diameter_m:.6f}/{geometry.pitch_m:.6f}/{geometry.blades}"
    return np.random.default_rng(zlib.crc32(text.encode()))


def _inertia(geometry: Geometry, mass_kg: float | None, normal: FloatArray) -> FloatArray:
    """J_p [kg m²] by the beliefs a fit starts from: share of m (D/2)², and a mass where none is known."""
    share, mass = BELIEFS["prop_inertia_share"], BELIEFS["prop_mass"]
    weight: float | FloatArray
    if mass_kg is None:
        usual = mass.center * (geometry.diameter_m / 0.127) ** 2.3 * (geometry.blades / 2.0) ** 0.5
        weight = usual * np.exp(mass.spread * normal[1])
    else:
        weight = mass_kg
    shape = share.center * np.exp(share.spread * normal[0])
    return np.asarray(propeller_physics.inertia(weight, geometry.diameter_m, shape), dtype=np.float64)


def _stated(fit: FitLike, stated: StatedPropeller, library: Sequence[LibraryPropeller]) -> PropellerDraws:
    """Draw what is stated about its figures; the rest from geometry, at the stated speed."""
    geometry = Geometry(stated.diameter_m, stated.pitch_m, stated.blades)
    mass = None if stated.mass_g is None else stated.mass_g * 1e-3
    base = _from_geometry(fit, stated.name, geometry, mass, library, stated.make or "")
    speed = base.reference_rev_per_s if stated.reference_rpm is None else stated.reference_rpm / 60.0
    normal = np.random.default_rng(zlib.crc32(f"{campaign_of(fit)}/{stated!r}".encode())).standard_normal(
        (5, count(fit))
    )
    exponents = []
    for row, (kind, drawn) in enumerate((("thrust", base.thrust_exponent), ("torque", base.torque_exponent))):
        centre, sd = (getattr(stated, f"{kind}_reynolds_exponent{end}") for end in ("", "_sd"))
        exponents.append(drawn if centre is None else centre + sd * normal[row])
    step = math.log(speed / base.reference_rev_per_s)
    thrust = base.thrust * np.exp(exponents[0] * step)
    torque = base.torque * np.exp(exponents[1] * step)
    merit = np.minimum(propeller_physics.figure_of_merit(thrust, torque), _HIGHEST_MERIT)
    if stated.thrust_coefficient is not None and stated.thrust_coefficient_sd is not None:
        thrust = _about(stated.thrust_coefficient, stated.thrust_coefficient_sd, normal[2])
        torque = propeller_physics.torque_coefficient(thrust, merit)
    if stated.torque is not None:
        torque = _about(*stated.torque, normal[3])
        if stated.thrust_coefficient is None:
            thrust = (torque * merit * 2.0 * math.pi / math.sqrt(2.0 / math.pi)) ** (2.0 / 3.0)
        torque = np.maximum(torque, propeller_physics.torque_coefficient(thrust, _HIGHEST_MERIT))
    inertia = base.inertia
    if stated.inertia_kg_m2 is not None and stated.inertia_sd_kg_m2 is not None:
        inertia = _about(stated.inertia_kg_m2, stated.inertia_sd_kg_m2, normal[4])
    measured = stated.thrust_coefficient is not None or stated.torque is not None
    return PropellerDraws(
        name=stated.name,
        origin="stated" if measured else "geometry",
        diameter_m=geometry.diameter_m,
        blades=geometry.blades,
        reference_rev_per_s=speed,
        thrust=np.asarray(thrust),
        torque=np.asarray(torque),
        thrust_exponent=exponents[0],
        torque_exponent=exponents[1],
        inertia=inertia,
        sharpened_by=base.sharpened_by,
        same_make=base.same_make,
    )


def _about(centre: float, sd: float, normal: FloatArray) -> FloatArray:
    """Lognormal about a positive figure with a one-sigma doubt in its own unit."""
    spread = math.sqrt(math.log1p((sd / centre) ** 2))
    values: FloatArray = centre * np.exp(spread * normal)
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
