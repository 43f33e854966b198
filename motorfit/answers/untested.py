"""Propellers that the fitted runs do not tell of, as a prediction by geometry would have them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.posterior import FloatArray
from motorfit.answers.propellers import propeller_draws
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun
from motorfit.inference.draws import parameters_of, prior_positions
from motorfit.inference.facts import constant_facts
from motorfit.inference.positions import Positions

_KINDS = ("thrust_coefficient", "torque_coefficient", "thrust_reynolds_exponent", "torque_reynolds_exponent")
_PRIOR_DRAWS = 800


@dataclass(frozen=True)
class _Fitted:
    """Positions as answers take a fit."""

    motor: str
    fit_id: str
    propellers: tuple[str, ...]
    draws: Mapping[str, Any]
    prior: Mapping[str, Any]
    constant: Mapping[str, Any]
    attributes: Mapping[str, Any]


def by_geometry(
    campaign: Campaign, known: Positions, rest: Sequence[BlockedRun], held: Sequence[BlockedRun],
    rng: np.random.Generator,
) -> dict[str, FloatArray]:  # fmt: skip
    """Draws of coefficients that the fitted runs do not tell of, by coordinate, each (draws,) row by row.

    Parameters
    ----------
    campaign : with its propellers
    known : draws of the fit
    rest, held : runs that were fitted, and those to predict
    rng : for draws of the prior, by which is seen what was learned

    Returns
    -------
    C_T, C_Q [1] at the propeller's own reference speed and their exponents, of propellers of ``held`` that no
    run of ``rest`` has. Empty for one with a measurement or prior of its own: that is not overruled.
    """
    graph = known.target.graph
    ran = {r.run.propeller for r in rest}
    stated = {m.propeller for m in campaign.measurements} if not set(_KINDS) & set(campaign.priors) else None
    wanted = dict.fromkeys(r.run.propeller for r in held if r.run.propeller not in ran)
    if not graph.motors or stated is None:
        return {}
    motor = graph.motors[0].id
    before = known.target.values(prior_positions(graph, rng, _PRIOR_DRAWS))
    fit = _Fitted(
        motor,
        "",
        tuple(p.id for p in campaign.propellers),
        parameters_of(graph, known.target.values(known.z), motor, (1, known.z.shape[0])),
        parameters_of(graph, before, motor, (1, _PRIOR_DRAWS)),
        constant_facts(graph, motor),
        {},
    )
    found: dict[str, FloatArray] = {}
    for name in wanted:
        if name is None or name in stated:
            continue
        made = propeller_draws(fit, name)
        own = next(p for p in campaign.propellers if p.id == name)
        step = math.log(own.reference_rev_per_s / made.reference_rev_per_s)
        thrust = made.thrust * np.exp(made.thrust_exponent * step)
        torque = made.torque * np.exp(made.torque_exponent * step)
        columns = (thrust, torque, made.thrust_exponent, made.torque_exponent)
        found |= {f"{kind}[{name}]": column for kind, column in zip(_KINDS, columns, strict=True)}
    return found
