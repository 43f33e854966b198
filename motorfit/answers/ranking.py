"""Ranks, a weighted score, and dominance, all as probabilities over paired draws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.metrics import Metric
from motorfit.answers.plain import chance, number
from motorfit.answers.posterior import FloatArray

CONCENTRATION = 20.0
"""Of the Dirichlet about the user's weights: two equal weights scatter by about 0.11 each."""
_SEED = 20260


def rank_probabilities(values: FloatArray, better: int) -> FloatArray:
    """Probability of each rank, (motors, ranks).

    Parameters
    ----------
    values : (motors, S) paired draws; NaN ranks last
    better : -1 where less is better; else the greatest is first
    """
    signed = values if better < 0 else -values
    n = len(signed)
    # stable: equal draws keep the order of the motors, which for continuous figures never matters
    order = np.argsort(signed, axis=0, kind="stable")
    out = np.zeros((n, n))
    for rank in range(n):
        out[:, rank] = np.bincount(order[rank], minlength=n)
    shares: FloatArray = out / signed.shape[1]
    return shares


@dataclass(frozen=True)
class Score:
    """A weighted score of several metrics.

    Attributes
    ----------
    weights : by metric, adding up to 1
    draws : motor -> (S,), weighted mean of log ratios to the field's geometric mean, better being greater;
        0.05 reads as 5 % better than the field
    ranks : motor -> probability of each rank at the weights given
    ranks_over_weights : the same over weights scattered about them
    leader, kept_while : who is first by median score, and by metric the span of its weight (others in their
        proportions) in which that stays so
    """

    weights: Mapping[str, float]
    draws: Mapping[str, FloatArray]
    ranks: Mapping[str, tuple[float, ...]]
    ranks_over_weights: Mapping[str, tuple[float, ...]]
    leader: str
    kept_while: Mapping[str, tuple[float, float]]

    @property
    def note(self) -> str:
        """How the order depends on the weights, in a sentence."""
        at, over = self.ranks[self.leader][0], self.ranks_over_weights[self.leader][0]
        spans = [
            f"{name} weighs {100 * low:.0f} to {100 * high:.0f} %"
            for name, (low, high) in self.kept_while.items()
            if (low, high) != (0.0, 1.0)
        ]
        told = spans[:1] if len(self.weights) == 2 else spans  # of two weights one says the other
        tail = (
            f" By the median it stays first as long as {' and '.join(told)}."
            if told
            else " By the median it stays first whatever any one weight is."
        )
        return (
            f"{self.leader} comes first with probability {chance(at)} at these weights, and {chance(over)} "
            f"over weights scattered about them.{tail}"
        )


def weights_of(given: Mapping[str, float], metrics: Mapping[str, Metric]) -> dict[str, float]:
    """Return weights that add up to 1.

    Raises
    ------
    AnswerError
        A weight that is negative or not a number, all zero, or on a metric without a better side.
    """
    for name, weight in given.items():
        if not (math.isfinite(weight) and weight >= 0.0):
            raise AnswerError(f"weights.{name}", weight, "0 or more", "Only proportions count: 2 and 1, say.")
        if metrics[name].better == 0:
            raise AnswerError(
                "weights",
                name,
                "metrics of which more, or less, is better",
                f"Nobody can say which {name} is best.",
            )
    total = sum(given.values())
    if total <= 0.0:
        raise AnswerError(
            "weights", dict(given), "at least one above 0", "Give, for example, max_thrust_n=2."
        )
    return {name: weight / total for name, weight in given.items()}


def score(
    values: Mapping[str, FloatArray],
    metrics: Mapping[str, Metric],
    weights: Mapping[str, float],
    motors: Sequence[str],
) -> Score:
    """Score motors on several metrics.

    Parameters
    ----------
    values : metric -> (motors, S), paired draws, positive
    metrics : by name, for the better side
    weights : by metric, adding up to 1
    motors : names, in the order of the rows
    """
    names = list(weights)
    merits = np.stack([_merit(values[name], metrics[name].better) for name in names])  # (K, motors, S)
    w = np.array([weights[name] for name in names])
    total = np.tensordot(w, merits, axes=1)
    scattered = np.random.default_rng(_SEED).dirichlet(np.maximum(CONCENTRATION * w, 1e-3), merits.shape[2])
    over = np.einsum("sk,kms->ms", scattered, merits)
    medians = np.nanmedian(merits, axis=2)
    first = int(np.nanargmax(w @ medians))
    spans = {name: _span(k, w, medians, first) for k, name in enumerate(names)} if len(names) > 1 else {}
    return Score(
        weights=dict(weights),
        draws=dict(zip(motors, total, strict=True)),
        ranks=_by_motor(rank_probabilities(total, 1), motors),
        ranks_over_weights=_by_motor(rank_probabilities(over, 1), motors),
        leader=motors[first],
        kept_while=spans,
    )


def _merit(values: FloatArray, better: int) -> FloatArray:
    """Log ratios to the field, better being greater, (motors, S); NaN where a figure is not positive."""
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(values > 0.0, np.log(np.maximum(values, 1e-300)), np.nan)
    centre = np.nanmean(np.nanmedian(logs, axis=1)) if np.isfinite(logs).any() else 0.0
    return better * (logs - centre)


def _span(k: int, w: FloatArray, medians: FloatArray, first: int) -> tuple[float, float]:
    """Weights of metric k, the others in proportion, for which the leader keeps the best median merit."""
    rest = np.delete(w, k)
    share = rest / rest.sum() if rest.sum() > 0.0 else np.full(len(rest), 1.0 / len(rest))
    other = share @ np.delete(medians, k, axis=0)
    low, high = 0.0, 1.0
    for rival in range(medians.shape[1]):
        at_one = medians[k, first] - medians[k, rival]
        at_zero = other[first] - other[rival]
        if rival == first or not np.isfinite(at_one + at_zero) or (at_one >= 0.0 and at_zero >= 0.0):
            continue
        tie = at_zero / (at_zero - at_one)
        low, high = (max(low, tie), high) if at_zero < 0.0 else (low, min(high, tie))
    return float(low), float(high)


def _by_motor(table: FloatArray, motors: Sequence[str]) -> dict[str, tuple[float, ...]]:
    return {name: tuple(row.tolist()) for name, row in zip(motors, table, strict=True)}


@dataclass(frozen=True)
class Dominance:
    """Who is better in everything, and who is beaten in everything.

    Attributes
    ----------
    metrics : those with a better side that were looked at
    motors : names
    dominates : (motors, motors) probability that the row is better than the column in all of them
    front : (motors,) probability that no other motor is better in all of them
    """

    metrics: tuple[str, ...]
    motors: tuple[str, ...]
    dominates: FloatArray
    front: FloatArray

    def to_json(self) -> dict[str, Any]:
        """Return metrics, the front's probabilities, and each ordered pair's."""
        pairs = [
            {"first": a, "second": b, "probability_first_dominates": number(self.dominates[i, j])}
            for i, a in enumerate(self.motors)
            for j, b in enumerate(self.motors)
            if i != j
        ]
        front = {name: number(p) for name, p in zip(self.motors, self.front, strict=True)}
        return {"metrics": list(self.metrics), "not_dominated": front, "pairs": pairs}


def dominance(
    values: Mapping[str, FloatArray], metrics: Sequence[Metric], motors: Sequence[str]
) -> Dominance | None:
    """Return the dominance among motors, or None with fewer than two motors or two metrics to judge by.

    Parameters
    ----------
    values : metric -> (motors, S) paired draws; a draw without a figure dominates nothing
    """
    judged = [m for m in metrics if m.better != 0 and not np.isnan(values[m.name]).all()]
    if len(motors) < 2 or len(judged) < 2:
        return None
    n = len(motors)
    signed = np.stack([m.better * values[m.name] for m in judged])  # (K, motors, S)
    table = np.zeros((n, n))
    beaten: NDArray[np.bool_] = np.zeros((n, signed.shape[2]), dtype=bool)
    for i in range(n):
        over = (signed[:, i : i + 1] > signed).all(axis=0)  # (motors, S)
        table[i] = over.mean(axis=1)
        beaten |= over
    return Dominance(tuple(m.name for m in judged), tuple(motors), table, 1.0 - beaten.mean(axis=1))
