"""Propellers that a fit, or the fits of a library, have tested: their coefficients draw by draw."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import propeller_facts
from motorfit.answers.posterior import FitLike, FloatArray, count, flat, parameter
from motorfit.answers.propeller_kin import STAND_SD, UNIT_SD, Geometry, Known, from_components, to_components
from motorfit.answers.show import LEARNED_FROM as SOMETHING
from motorfit.answers.show import contraction

LEARNED_FROM = 0.5
"""Contraction from which a coefficient counts as tested, not as a prior carried along."""


@dataclass(frozen=True)
class LibraryPropeller:
    """A propeller's coefficients as one campaign fit knows them.

    Attributes
    ----------
    name : its id there
    campaign_fit, campaign, bench : the fit it comes from (the part of the id that its motors share), the
        title of
        the campaign and the name of the stand, empty where unknown
    geometry, reference_rev_per_s : diameter, pitch, blades; speed at which the coefficients hold
    thrust, torque, thrust_exponent, torque_exponent : (S,) C_T, C_Q [1] and exponents [1]
    inertia : (S,) [kg m²], or None
    learned : which of log C_T, FM, and the two exponents the tests taught
    make : whose it is, as its campaign tells; empty where it does not
    """

    name: str
    campaign_fit: str
    campaign: str
    bench: str
    geometry: Geometry
    reference_rev_per_s: float
    thrust: FloatArray
    torque: FloatArray
    thrust_exponent: FloatArray
    torque_exponent: FloatArray
    inertia: FloatArray | None
    learned: tuple[bool, bool, bool, bool]
    make: str = ""

    @property
    def stand(self) -> str:
        """What propellers with the same systematic doubt of a stand have in common."""
        return self.bench or self.campaign_fit

    def known(self) -> Known:
        """Return it as evidence about what propellers have in common."""
        ratio = self.geometry.reference_rev_per_s / self.reference_rev_per_s
        values = to_components(
            self.thrust, self.torque, self.thrust_exponent, self.torque_exponent, float(np.log(ratio))
        )
        return Known(self.geometry, values, self.learned, self.stand, self.make)


def campaign_of(fit: FitLike) -> str:
    """Return what the fits of one campaign have in common: the id without its last part."""
    return fit.fit_id.rpartition("-")[0] or fit.fit_id


def propellers_tested_in(fit: FitLike) -> tuple[LibraryPropeller, ...]:
    """Return the propellers of a fit's campaign of whose coefficients its runs taught anything."""
    found = []
    for name in fit.propellers:
        try:
            facts = propeller_facts(fit, name)
        except AnswerError:
            continue  # a fit that does not say its geometry cannot teach what propellers have in common
        figures = _figures(fit.draws, fit.propellers.index(name))
        if figures is None:
            continue
        geometry = Geometry(facts.diameter_m, facts.pitch_m, facts.blades)
        made = LibraryPropeller(
            name=name,
            campaign_fit=campaign_of(fit),
            campaign=str(fit.attributes.get("campaign", "")),
            bench=str(fit.attributes.get("bench", "")),
            geometry=geometry,
            reference_rev_per_s=facts.reference_rev_per_s,
            thrust=figures[0],
            torque=figures[1],
            thrust_exponent=figures[2],
            torque_exponent=figures[3],
            inertia=parameter(fit, "prop_inertia", name),
            learned=(True, True, True, True),
            make=facts.make,
        )
        before = _figures(fit.prior, fit.propellers.index(name))
        if before is not None:
            made = replace(made, learned=_learned(made, before))
        if made.learned[0] or made.learned[1]:
            found.append(made)
    return tuple(found)


def _figures(
    table: Mapping[str, NDArray[Any]], index: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray] | None:
    """C_T, C_Q and their exponents of one propeller, each (S,); None without coefficients."""

    def column(name: str) -> FloatArray | None:
        values = table.get(name)
        return None if values is None else np.ascontiguousarray(flat(values)[:, index])

    thrust, torque = column("thrust_coefficient"), column("torque_coefficient")
    if thrust is None or torque is None:
        return None
    still = np.zeros(len(thrust))
    thrust_exponent, torque_exponent = (column(f"{k}_reynolds_exponent") for k in ("thrust", "torque"))
    return (
        thrust,
        torque,
        still if thrust_exponent is None else thrust_exponent,
        still if torque_exponent is None else torque_exponent,
    )


def _learned(
    made: LibraryPropeller, before: tuple[FloatArray, FloatArray, FloatArray, FloatArray]
) -> tuple[bool, bool, bool, bool]:
    """Which components are much narrower than before, where n D² is that of the comparison.

    There, and not at the speed a campaign reports at: a coefficient carried to a speed far from its runs
    looks unknown by its exponent alone.
    """
    thrust, torque, thrust_exponent, torque_exponent = before
    prior = replace(
        made,
        thrust=thrust,
        torque=torque,
        thrust_exponent=thrust_exponent,
        torque_exponent=torque_exponent,
    )
    now, then = made.known().components, prior.known().components
    told = [contraction(now[:, k], then[:, k], signed=True) >= LEARNED_FROM for k in range(4)]
    return told[0], told[1], told[2], told[3]


def _told(fit: FitLike, quantity: str, name: str) -> float:
    """Contraction of a propeller's parameter: 1 without a prior to compare with, 0 without draws."""
    draws, prior = parameter(fit, quantity, name), fit.prior.get(quantity)
    if draws is None or prior is None:
        return 0.0 if draws is None else 1.0
    return contraction(draws, flat(prior)[:, fit.propellers.index(name)])


def untaught(fit: FitLike, name: str) -> bool:
    """Say whether a propeller stands in the campaign file but its coefficients in no run of it."""
    names = ("thrust_coefficient", "torque_coefficient")
    return all(_told(fit, quantity, name) < SOMETHING for quantity in names)


def library_propellers(library: Path, fit: FitLike | None = None) -> tuple[LibraryPropeller, ...]:
    """Return the propellers tested in a library, those of ``fit``'s own campaign left out.

    Of several fits of one campaign (title and stand) the latest counts; fits that cannot be read are
    passed over.
    """
    from motorfit.archive.errors import ArchiveError
    from motorfit.archive.store import list_fits

    latest = {}
    for stored in sorted(list_fits(library), key=lambda s: s.campaign_fit):
        if stored.problem is None:
            latest[(stored.campaign, stored.bench)] = stored
    found: list[LibraryPropeller] = []
    for stored in latest.values():
        if fit is not None and _same_campaign(fit, stored.campaign_fit, stored.campaign, stored.bench):
            continue
        try:
            found += _of_file(library, stored.motor, stored.fit_id)
        except ArchiveError:
            continue  # removed or damaged since it was listed
    return tuple(found)


@lru_cache(maxsize=64)
def _of_file(library: Path, motor: str, fit_id: str) -> tuple[LibraryPropeller, ...]:
    """Propellers of one stored fit; files never change after they are written, so they are read once."""
    from motorfit.archive.store import load_fit

    return propellers_tested_in(load_fit(library, motor, fit_id))


def _same_campaign(fit: FitLike, campaign_fit: str, campaign: str, bench: str) -> bool:
    named = (str(fit.attributes.get("campaign", "")), str(fit.attributes.get("bench", "")))
    return campaign_of(fit) == campaign_fit or (named == (campaign, bench) and named[0] != "")


def beside(fit: FitLike, others: Sequence[LibraryPropeller]) -> tuple[LibraryPropeller, ...]:
    """Return propellers of other campaigns with as many rows as ``fit``, in an order independent of its rows.

    Rows of one campaign stay together. Seeded by both fits: the same question has the same answer.
    """
    size = count(fit)
    return tuple(_taken(other, _order(fit, other, size)) for other in others)


def _order(fit: FitLike, other: LibraryPropeller, size: int) -> NDArray[np.intp]:
    seed = zlib.crc32(f"{campaign_of(fit)}/{other.campaign_fit}".encode())
    shuffled = np.random.default_rng(seed).permutation(len(other.thrust))
    return np.resize(shuffled, size).astype(np.intp)


def _taken(other: LibraryPropeller, rows: NDArray[np.intp]) -> LibraryPropeller:
    return replace(
        other,
        thrust=other.thrust[rows],
        torque=other.torque[rows],
        thrust_exponent=other.thrust_exponent[rows],
        torque_exponent=other.torque_exponent[rows],
        inertia=None if other.inertia is None else other.inertia[rows],
    )


def brought(fit: FitLike, other: LibraryPropeller) -> LibraryPropeller:
    """Bring a propeller of another campaign to ``fit``'s stand: rows of its own, and what two stands
    differ by.

    Adds the scatter between units of one type (another of the same id may have been tested there) and,
    from another stand, the difference of two stands' blockage.
    """
    (taken,) = beside(fit, (other,))
    size = count(fit)
    rng = np.random.default_rng(zlib.crc32(f"{campaign_of(fit)}/{other.campaign_fit}/{other.name}".encode()))
    here = str(fit.attributes.get("bench", "")) or campaign_of(fit)
    spread = np.sqrt(2.0) * np.abs(rng.standard_normal((size, 1))) * np.asarray(UNIT_SD)
    if here != other.stand:
        spread = np.hypot(spread, np.sqrt(2.0) * np.asarray(STAND_SD))
    values = to_components(taken.thrust, taken.torque, taken.thrust_exponent, taken.torque_exponent, 0.0)
    values = values + spread * rng.standard_normal(values.shape)
    thrust, torque, *_ = from_components(values)
    return replace(taken, thrust=thrust, torque=torque)
