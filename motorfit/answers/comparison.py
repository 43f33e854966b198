"""What a comparison says, as value objects and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.bands import band
from motorfit.answers.cautions import Caution
from motorfit.answers.claims import TableCheck
from motorfit.answers.differences import Difference
from motorfit.answers.labels import Claimed
from motorfit.answers.metrics import Metric
from motorfit.answers.notes import Note
from motorfit.answers.plain import number
from motorfit.answers.ranking import Dominance, Score

Spread = tuple[float, float, float]
"""Median, low, high."""


@dataclass(frozen=True)
class MetricAnswer:
    """One metric over all motors: each one's spread, every pair's difference, every motor's ranks."""

    metric: Metric
    motors: Mapping[str, Spread]
    differences: tuple[Difference, ...]
    ranks: Mapping[str, tuple[float, ...]]

    def to_json(self) -> dict[str, Any]:
        """Return the entry of ``compare --json``."""
        return {
            "name": self.metric.name,
            "unit": self.metric.unit,
            "better": {1: "more", -1: "less", 0: None}[self.metric.better],
            "margin": self.metric.margin,
            "motors": {name: spread_json(spread) for name, spread in self.motors.items()},
            "differences": [difference.to_json() for difference in self.differences],
            "ranks": {name: [number(p) for p in ranks] for name, ranks in self.ranks.items()},
        }


@dataclass(frozen=True)
class Comparison:
    """The whole answer of `motorfit.answers.compare.compare`.

    Attributes
    ----------
    names : of the motors, or of their models, in the order asked
    fits : name -> ids of the fits it rests on
    interval : probability inside every low..high
    conditions : what was the same for all, plain values
    metrics : answers in the order asked
    score, dominance : None where not asked or not possible
    claims, tables : claimed figures, and claimed tables, beside the posterior
    notes : what is shared, what is not, what was assumed
    warnings : motor and caution, from the predictions behind the figures
    """

    names: tuple[str, ...]
    fits: Mapping[str, tuple[str, ...]]
    interval: float
    conditions: Mapping[str, Any]
    metrics: tuple[MetricAnswer, ...]
    score: Score | None
    dominance: Dominance | None
    claims: tuple[Claimed, ...]
    tables: tuple[TableCheck, ...]
    notes: tuple[Note, ...]
    warnings: tuple[tuple[str, Caution], ...]

    def metric(self, name: str) -> MetricAnswer:
        """Return the answer on a metric; KeyError where it was not asked."""
        for answer in self.metrics:
            if answer.metric.name == name:
                return answer
        raise KeyError(name)

    def to_json(self) -> dict[str, Any]:
        """Return ``compare --json``: plain types only, null where there is no number."""
        document: dict[str, Any] = {
            "interval": self.interval,
            "motors": list(self.names),
            "fits": {name: list(ids) for name, ids in self.fits.items()},
            "conditions": dict(self.conditions),
            "metrics": [answer.to_json() for answer in self.metrics],
        }
        if self.score is not None:
            document["score"] = score_json(self.score, self.interval)
        if self.dominance is not None:
            document["dominance"] = self.dominance.to_json()
        if self.claims:
            document["claims"] = [claim.to_json() for claim in self.claims]
        if self.tables:
            document["claimed_tables"] = [table.to_json() for table in self.tables]
        document["notes"] = [note.to_json() for note in self.notes]
        document["warnings"] = [{"motor": name, **caution.to_json()} for name, caution in self.warnings]
        return document


def score_json(score: Score, interval: float) -> dict[str, Any]:
    """Return a score as plain types."""
    rows = band(np.stack(list(score.draws.values())), interval)
    return {
        "weights": dict(score.weights),
        "motors": {
            name: spread_json((float(rows.median[k]), float(rows.low[k]), float(rows.high[k])))
            for k, name in enumerate(score.draws)
        },
        "ranks": {name: list(ranks) for name, ranks in score.ranks.items()},
        "ranks_over_weights": {name: list(ranks) for name, ranks in score.ranks_over_weights.items()},
        "leader": score.leader,
        "leads_while_weight": {name: list(span) for name, span in score.kept_while.items()},
        "note": score.note,
    }


def spread_json(spread: Spread) -> dict[str, float | None]:
    """Return ``{"median": ..., "low": ..., "high": ...}``."""
    return {key: number(value) for key, value in zip(("median", "low", "high"), spread, strict=True)}
