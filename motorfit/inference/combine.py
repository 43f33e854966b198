"""Beliefs and measurements stated on combinations of coordinates, as residuals and log-densities.

Each term has the form -½ t² + log-Jacobian; the optimum sees t as a residual, sampling sees both.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.bench.models import Measurement, PriorOverride
from motorfit.inference.assemble import Values
from motorfit.inference.graph import Graph, mass_factor
from motorfit.inference.priors import BELIEFS
from motorfit.physics.motor import resistance_at
from motorfit.physics.propeller import figure_of_merit as merit_of
from motorfit.quantities import PARAMETERS

__all__ = ["PSI_LEAST", "PSI_MOST", "Term", "combined_terms", "figure_of_merit", "terms_of"]

PSI_LEAST, PSI_MOST = 0.75, 1.08

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Term:
    """What is believed or measured of a combination.

    Attributes
    ----------
    owner : the motor, propeller or flywheel that it is about; None for the bench
    residual : (draws,) t [-], NaN where a draw is impossible
    log_jacobian : (draws,) or a constant [-]
    """

    owner: str | None
    residual: Array
    log_jacobian: Array | float = 0.0


def combined_terms(graph: Graph, v: Values) -> tuple[Array, Array]:
    """All terms of a campaign.

    Returns
    -------
    (terms, draws) residuals t [-], and (draws,) sum of log-Jacobians [-]; NaN or -inf where a draw is
    impossible.
    """
    found = list(terms_of(graph, v))
    log_jacobian = np.zeros(v.draws)
    for term in found:
        log_jacobian += term.log_jacobian
    return np.stack([t.residual for t in found]) if found else np.zeros((0, v.draws)), log_jacobian


def terms_of(graph: Graph, v: Values) -> Iterator[Term]:
    """The terms of a campaign one by one, v being values of the draws."""
    own = graph.campaign.priors
    belief, torque = BELIEFS["kt_kv_ratio"], BELIEFS["torque_per_root_watt"]
    for motor in graph.motors:
        m = v.motor(motor.id)
        psi = m["kt_kv_ratio"]
        if not {"kt", "kt_kv_ratio"} & own.keys():
            yield Term(motor.id, (psi - belief.center) / belief.spread, np.log(psi))
        # R is the total less the controller's: its coordinate is the total's logarithm
        turned = np.log(v[f"total_resistance[{motor.id}]"]) - np.log(m["winding_resistance"])
        out = np.maximum(psi - PSI_MOST, 0.0) + np.maximum(PSI_LEAST - psi, 0.0)
        yield Term(motor.id, out * 1e3, turned)
        if "winding_resistance" not in own:
            spread = torque.spread if motor.mass_g is not None else 1.1
            expected = math.log(torque.center * mass_factor(motor, 35.0) ** 0.83)
            yield Term(
                motor.id, (np.log(m["kt"]) - 0.5 * np.log(m["winding_resistance"]) - expected) / spread
            )
    merit = BELIEFS["figure_of_merit"]
    for propeller in graph.campaign.propellers:
        fm = figure_of_merit(v, propeller.id)
        fm = np.where(fm < 1.0, fm, np.nan)
        if not {"torque_coefficient", "figure_of_merit"} & own.keys():
            logit = np.log(fm) - np.log1p(-fm)
            off = (logit - math.log(merit.center / (1.0 - merit.center))) / merit.spread
            yield Term(propeller.id, off, -np.log1p(-fm))
        else:
            yield Term(propeller.id, 0.0 * fm)  # still below 1
    for item in graph.campaign.measurements:
        of_motor = item.motor is not None and item.quantity in v.motor(item.motor)
        yield Term(item.motor if of_motor else item.propeller or item.flywheel, _measured(v, item))
    for name, owner, value, stated in _overridden(graph, v):
        # a normal of the value itself, over a coordinate that is its logarithm
        replaced = name in _REPLACED and stated.factor is None
        yield Term(owner, _stated(value, stated), np.log(value) if replaced else 0.0)


_REPLACED = frozenset({"kt", "kt_kv_ratio", "winding_resistance", "torque_coefficient", "figure_of_merit"})
"""Derived quantities whose usual belief gives way to the campaign's own; of others both are held."""


def figure_of_merit(v: Values, propeller: str) -> Array:
    """Figure of merit of a propeller, (draws,) [1]."""
    ct, cq = v[f"thrust_coefficient[{propeller}]"], v[f"torque_coefficient[{propeller}]"]
    return np.asarray(merit_of(ct, cq))


def _quantity(
    v: Values, quantity: str, motor: str | None, propeller: str | None, flywheel: str | None
) -> Array:
    if motor is not None and quantity in (m := v.motor(motor)):
        return m[quantity]
    if quantity == "figure_of_merit" and propeller is not None:
        return figure_of_merit(v, propeller)
    owner = propeller or flywheel
    return v[quantity if owner is None else f"{quantity}[{owner}]"]


def _measured(v: Values, item: Measurement) -> Array:
    value = _quantity(v, item.quantity, item.motor, item.propeller, item.flywheel)
    if item.quantity == "winding_resistance" and item.temperature_c is not None:
        value = np.asarray(resistance_at(value, item.temperature_c))
    return (value - item.value) / item.sd


def _overridden(graph: Graph, v: Values) -> Iterator[tuple[str, str | None, Array, PriorOverride]]:
    """The user's beliefs about quantities that are not coordinates: (name, owner, derived value, belief)."""
    for name, own in graph.campaign.priors.items():
        per = PARAMETERS[name].per
        for motor in graph.motors if per == "motor" else ():
            if f"{name}[{motor.id}]" not in graph.direct:
                yield name, motor.id, _quantity(v, name, motor.id, None, None), own
        for propeller in graph.campaign.propellers if per == "propeller" else ():
            if f"{name}[{propeller.id}]" not in graph.direct:
                yield name, propeller.id, _quantity(v, name, None, propeller.id, None), own
        if per == "controller" and name not in graph.direct:
            yield name, None, _shared(graph, v, name), own


def _stated(value: Array, own: PriorOverride) -> Array:
    if own.factor is not None:
        return np.asarray((np.log(np.maximum(value, 1e-300)) - math.log(own.center)) / own.log_sd)
    return np.asarray((value - own.center) / (own.sd or math.nan))


def _shared(graph: Graph, v: Values, name: str) -> Array:
    limit = graph.campaign.bench.controller.current_limit_a
    return v.limit(limit) if name == "current_limit" and limit is not None else v[name]
