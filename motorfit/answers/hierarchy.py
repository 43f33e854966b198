"""From tested units to the model they are units of.

Three levels, in logarithms: the model's mean μ; units about it, τ ε_u with τ half-normal (`UNIT_SPREAD`); and
mountings of a unit about the unit, ρ ε_f with ρ half-normal (`REMOUNT_SCATTER`). Each fit is one mounting.
The fits' draws carry what is uncertain of each and what they share: units tested on one bench move together
with its sensors, and that is why four units on one stand tell the spread well and the mean no better than
the stand.

For given τ, ρ everything is linear and normal, and the flat belief about μ is integrated exactly:

    x̂ ~ N(1 μ, V)    V = Σ + ρ² I + τ² Z Zᵀ

with x̂, Σ the mean and covariance of the fits' draws and Z units by fits. (τ, ρ) are drawn from their
posterior on a grid (A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 5.4); draw s of μ then is
aᵀ(x_s + ρ ε_f + τ Z ε_u) with a the weights of generalised least squares, so that each draw of the model
keeps its place beside the bench's and other motors' draws.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.notes import Note
from motorfit.answers.pairing import Subject
from motorfit.answers.posterior import FloatArray
from motorfit.answers.spreads import REMOUNT_SCATTER, UNIT_SPREAD
from motorfit.physics import motor as motor_physics

_GRID = (np.arange(32) + 0.5) / 32.0 * 3.5  # in scales of the half-normal, which ends there for our purpose
_DRAG = ("drag_current_static", "drag_current_slope", "drag_current_windage")


@dataclass(frozen=True)
class Level:
    """One quantity of a model: (S,) draws of its mean and of a further unit, and the spread between units."""

    mean: FloatArray
    new_unit: FloatArray
    unit_spread: FloatArray


def level(
    draws: FloatArray,
    unit_of: Sequence[str],
    unit_scale: float,
    remount_scale: float,
    rng: np.random.Generator,
) -> Level:
    """Fit the levels of one quantity.

    Parameters
    ----------
    draws : (fits, S) of the logarithm, paired by row
    unit_of : the unit of each fit; equal names are one unit mounted again
    unit_scale, remount_scale : of the half-normal beliefs about the two relative spreads
    rng : for grid and scatter
    """
    units = list(dict.fromkeys(unit_of))
    Z = np.array([[float(name == unit) for unit in units] for name in unit_of])
    fits, size = draws.shape
    if fits == 1:  # nothing to learn the spreads from: they are what is believed, and the weight is 1
        tau = unit_scale * np.abs(rng.standard_normal(size))
        rho = remount_scale * np.abs(rng.standard_normal(size))
        mean = draws[0] + rho * rng.standard_normal(size) + tau * rng.standard_normal(size)
        return Level(mean, mean + tau * rng.standard_normal(size), tau)
    centre = draws.mean(axis=1)
    sigma = np.cov(draws)
    t, r = (grid.ravel() for grid in np.meshgrid(_GRID, _GRID))
    points = np.stack([t * unit_scale, r * remount_scale])  # (2, grid)
    V = sigma + points[1][:, None, None] ** 2 * np.eye(fits) + points[0][:, None, None] ** 2 * (Z @ Z.T)
    weights, logs = _integrated(V, centre)
    logs = logs - 0.5 * (t * t + r * r)
    p = np.exp(logs - logs.max())
    chosen = rng.choice(len(p), size=size, p=p / p.sum())
    a = weights[chosen]  # (S, fits)
    tau, rho = points[:, chosen]
    between = tau[:, None] * rng.standard_normal((size, len(units)))
    again = rho[:, None] * rng.standard_normal((size, fits))
    mean = np.einsum("sf,sf->s", a, draws.T + again + between @ Z.T)
    return Level(mean, mean + tau * rng.standard_normal(size), tau)


def _integrated(V: FloatArray, centre: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights of generalised least squares (grid, fits); log ∫ N(x̂ | 1 μ, V) dμ (grid,) up to a constant."""
    factor = np.linalg.cholesky(V)
    both = np.broadcast_to(np.stack([np.ones_like(centre), centre], axis=1), (len(V), len(centre), 2))
    one, x = np.moveaxis(np.linalg.solve(factor, both), 2, 0)  # each (grid, fits)
    total = (one * one).sum(axis=1)
    left = x - one * ((one * x).sum(axis=1) / total)[:, None]
    a = np.linalg.solve(np.swapaxes(factor, 1, 2), one[:, :, None])[:, :, 0] / total[:, None]
    log = -np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    return a, log - 0.5 * np.log(total) - 0.5 * (left * left).sum(axis=1)


@dataclass(frozen=True)
class Model:
    """A motor model as its tested units show it.

    ``mean`` and ``new_unit`` read like fits; ``spread`` is relative, (S,) draws by parameter.
    """

    name: str
    units: tuple[str, ...]
    mean: Subject
    new_unit: Subject
    spread: Mapping[str, FloatArray]
    notes: tuple[Note, ...]


def model_key(subject: Subject) -> str:
    """Return the model a motor is a unit of; a motor without one is a model of its own."""
    facts = subject.constant.get("motor")
    model = facts.get("model") if isinstance(facts, Mapping) else None
    return str(model) if model else subject.motor


def unit_key(subject: Subject) -> str:
    """Return which unit a fit is of: the campaign's unit under its model, else the motor's id."""
    facts = subject.constant.get("motor")
    unit = facts.get("unit") if isinstance(facts, Mapping) else None
    return f"unit {unit}" if unit else subject.motor


def model_of(subjects: Sequence[Subject]) -> Model:
    """Return the model of several units, each fit of a unit a mounting of it.

    Parameters
    ----------
    subjects :
        Fits of units of one model, side by side (and linked, where campaigns are).

    Raises
    ------
    AnswerError
        No fit, or fits of different models.
    """
    names = {model_key(subject) for subject in subjects}
    if len(names) != 1:
        raise AnswerError(
            "model", sorted(names), "units of one model", "Compare different models, do not join them."
        )
    name = names.pop()
    units = tuple(unit_key(subject) for subject in subjects)
    rng = np.random.default_rng(zlib.crc32("/".join([name, *(s.fit_id for s in subjects)]).encode()))
    levels: dict[str, Level] = {}
    for parameter, scale in UNIT_SPREAD.items():
        held = [s.draws[parameter].ravel() for s in subjects if parameter in s.draws]
        if len(held) == len(subjects) and all((values > 0.0).all() for values in held):
            levels[parameter] = level(np.log(np.stack(held)), units, scale, REMOUNT_SCATTER[parameter], rng)
    first = subjects[0]
    own = {p: np.log(first.draws[p].ravel()) for p in levels}
    mean = _shifted(first, {p: found.mean - own[p] for p, found in levels.items()}, name)
    new = _shifted(first, {p: found.new_unit - own[p] for p, found in levels.items()}, name)
    spread = {p: found.unit_spread for p, found in levels.items()}
    return Model(name, tuple(dict.fromkeys(units)), mean, new, spread, _notes(name, subjects, units))


def _shifted(subject: Subject, shift: Mapping[str, FloatArray], name: str) -> Subject:
    """Return a unit's draws moved by (S,) shifts of logarithms; what depends on them is worked out again."""
    changed: dict[str, NDArray[Any]] = {p: subject.draws[p] * np.exp(s)[np.newaxis] for p, s in shift.items()}
    drag = [p for p in _DRAG if p in subject.draws]
    if "no_load_current" in shift:
        changed |= {p: subject.draws[p] * np.exp(shift["no_load_current"])[np.newaxis] for p in drag}
    draws = {**subject.draws, **changed}
    if "kt_kv_ratio" in draws and "kv" in draws:
        changed["kt"] = np.asarray(motor_physics.torque_constant(draws["kv"], draws["kt_kv_ratio"]))
    return subject.with_draws(changed, name)


def _notes(name: str, subjects: Sequence[Subject], units: Sequence[str]) -> tuple[Note, ...]:
    different = len(set(units))
    repeats = len(units) - different
    notes = []
    if different == 1:
        notes.append(
            Note(
                "one-unit",
                f"One unit of {name} was tested. How far its units lie apart is taken from motors in general "
                f"(K_v {100 * UNIT_SPREAD['kv']:g} %, R {100 * UNIT_SPREAD['winding_resistance']:g} %, "
                f"I_0 {100 * UNIT_SPREAD['no_load_current']:g} %), so the answer for the model is wide; "
                "test more units to narrow it.",
                (name,),
            )
        )
    else:
        benches = len({s.campaign_fit for s in subjects})
        notes.append(
            Note(
                "units",
                f"{name}: {different} units in {benches} campaign{'' if benches == 1 else 's'}; the answer "
                "is for another unit of it.",
                (name,),
            )
        )
    if repeats:
        notes.append(
            Note(
                "repeats", f"{name}: {repeats} further mounting(s) of a unit, a level of their own.", (name,)
            )
        )
    return tuple(notes)
