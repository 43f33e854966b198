"""A motor's parameters with intervals, and what its runs did and did not teach."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.bands import check_interval
from motorfit.answers.lessons import advice
from motorfit.answers.plain import number, plain
from motorfit.answers.posterior import FitLike, FloatArray, flat
from motorfit.quantities import PARAMETERS

LEARNED_FROM = 0.2
"""Contraction from which a parameter counts as learned."""


@dataclass(frozen=True)
class ParameterSummary:
    """One parameter: median, interval and how much the runs taught.

    ``median``, ``low``, ``high`` and ``sd`` are in ``unit``; ``contraction`` is 1 − var_post/var_prior
    (None without a prior to compare with). ``advice`` is set where it was not learned.
    """

    name: str
    propeller: str | None
    unit: str
    median: float
    low: float
    high: float
    sd: float
    contraction: float | None
    learned: bool
    advice: str | None

    @property
    def key(self) -> str:
        """The name in JSON: ``kv``, or ``thrust_coefficient[p7x35x3]`` for a propeller's."""
        return self.name if self.propeller is None else f"{self.name}[{self.propeller}]"

    def to_json(self) -> dict[str, Any]:
        """Return the entry of ``show --json``."""
        return {
            "unit": self.unit,
            "median": number(self.median),
            "low": number(self.low),
            "high": number(self.high),
            "sd": number(self.sd),
            "contraction": None if self.contraction is None else number(self.contraction),
            "learned": self.learned,
        }


@dataclass(frozen=True)
class MotorSummary:
    """All parameters of one fit, with the diagnostics of its posterior."""

    motor: str
    fit_id: str
    interval: float
    parameters: tuple[ParameterSummary, ...]
    diagnostics: dict[str, Any]

    @property
    def not_learned(self) -> tuple[ParameterSummary, ...]:
        """The parameters whose posterior is hardly narrower than their prior."""
        return tuple(p for p in self.parameters if not p.learned)

    def to_json(self) -> dict[str, Any]:
        """Return ``show --json``: plain types only, no NaN."""
        return {
            "motor": self.motor,
            "fit": self.fit_id,
            "interval": self.interval,
            "parameters": {p.key: p.to_json() for p in self.parameters},
            "not_learned": {p.key: p.advice for p in self.not_learned},
            "diagnostics": self.diagnostics,
        }


def summarise(fit: FitLike, interval: float = 0.9) -> MotorSummary:
    """Summarise every parameter of a fit.

    Parameters
    ----------
    fit:
        A stored fit.
    interval:
        Probability inside low..high (equal tails).

    Raises
    ------
    AnswerError
        The interval is not a probability.
    """
    check_interval(interval)
    found: list[ParameterSummary] = []
    for name in sorted(fit.draws, key=_table_order):
        draws = flat(fit.draws[name])
        prior = flat(fit.prior[name]) if name in fit.prior else None
        if draws.ndim == 1:
            found.append(_summarise_one(name, None, draws, prior, interval))
            continue
        for index, propeller in enumerate(fit.propellers):
            column = None if prior is None else prior[:, index]
            found.append(_summarise_one(name, propeller, draws[:, index], column, interval))
    diagnostics = plain(fit.attributes.get("diagnostics") or {})
    if not isinstance(diagnostics, dict):
        diagnostics = {"value": diagnostics}
    return MotorSummary(fit.motor, fit.fit_id, float(interval), tuple(found), diagnostics)


def _table_order(name: str) -> tuple[int, str]:
    """Order of the quantities table; what it does not list after it, by name."""
    names = list(PARAMETERS)
    return (names.index(name) if name in names else len(names), name)


def _summarise_one(
    name: str, propeller: str | None, draws: FloatArray, prior: FloatArray | None, interval: float
) -> ParameterSummary:
    tail = 0.5 * (1.0 - interval)
    low, median, high = quantiles(draws, (tail, 0.5, 1.0 - tail))
    known = PARAMETERS.get(name)
    signed = known is not None and not known.positive
    taught = None if prior is None else contraction(draws, prior, signed=signed)
    learned = taught is not None and taught >= LEARNED_FROM
    return ParameterSummary(
        name=name,
        propeller=propeller,
        unit=unit_of(name),
        median=float(median),
        low=float(low),
        high=float(high),
        sd=_sd(draws),
        contraction=taught,
        learned=learned,
        advice=None if learned else advice(name, propeller),
    )


def quantiles(values: FloatArray, probabilities: tuple[float, ...]) -> FloatArray:
    """Return quantiles of (S,) draws; where some are infinite, of the draws themselves, not between them."""
    method = "linear" if np.isfinite(values).all() else "inverted_cdf"
    found: FloatArray = np.quantile(values, probabilities, method=method)  # type: ignore[call-overload]
    return found


def _sd(draws: FloatArray) -> float:
    return float(np.std(draws, ddof=1)) if draws.size > 1 and np.isfinite(draws).all() else math.nan


def unit_of(name: str) -> str:
    """Return a parameter's unit by the quantities table ("1" for a ratio)."""
    quantity = PARAMETERS.get(name)
    return "1" if quantity is None else quantity.unit


def contraction(draws: FloatArray, prior: FloatArray, *, signed: bool = False) -> float:
    """How much narrower than its prior a posterior is: 1 − var_post/var_prior.

    Widths are half the central 68.27 %, the sd of a normal, so that a heavy-tailed prior does not
    flatter the data. Positive parameters are compared on the logarithm, where their priors are
    symmetric. 0: nothing learned; 1: known exactly; negative: wider than the prior.

    Parameters
    ----------
    draws, prior:
        (S,) and (N,) draws in one unit.
    signed:
        True for a parameter of either sign: then widths are taken as they are.
    """
    if not (np.isfinite(draws).all() and np.isfinite(prior).all()):
        # Infinite means absent (no saturation): the reciprocals are finite and say as much.
        draws, prior, signed = 1.0 / draws, 1.0 / prior, True
    probabilities = (0.158655, 0.841345)
    low, high = quantiles(draws, probabilities)
    prior_low, prior_high = quantiles(prior, probabilities)
    # Draws are stored in single precision: a parameter held fixed has no prior width to lose.
    if not prior_high - prior_low > 1e-6 * max(abs(prior_low), abs(prior_high)):
        return 0.0
    if not signed and low > 0.0 and prior_low > 0.0:
        low, high, prior_low, prior_high = np.log((low, high, prior_low, prior_high))
    return float(1.0 - ((high - low) / (prior_high - prior_low)) ** 2)
