"""Units and words that every view of a comparison shares."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motorfit.report.format import shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motorfit.answers.comparison import Comparison, MetricAnswer
    from motorfit.answers.differences import Difference
    from motorfit.answers.ranking import Dominance

FEW = 4
"""Motors up to which every pair is listed; beyond, each against the one ranked first, or beside the next."""
_SYMBOLS = {"N m": "N·m", "N m/A": "N·m/A", "kg m^2": "kg·m²", "1": "", "1/g": "1/g", "ohm": "Ω"}
_SOME = 0.05
_GAINED = 1.05
"""How many times narrower a difference is at least for a word on it: below, it reads 1.0."""


def unit_and_factor(answer: MetricAnswer) -> tuple[str, float]:
    """Return the unit people read, and the factor to it."""
    metric = answer.metric
    if metric.name.endswith("_time_s"):
        return "ms", 1e3
    if metric.unit == "1" and "efficiency" in metric.base:
        return "%", 100.0
    if metric.unit == "N m":
        return "mN·m", 1e3
    if not metric.per_gram:
        display = shown(metric.base)
        if display.factor != 1.0:
            return display.unit, display.factor
    if metric.unit == "N/g":
        return "mN/g", 1e3
    return _SYMBOLS.get(metric.unit, metric.unit), 1.0


def unit_of_difference(unit: str) -> str:
    """Return a unit as differences have it: of two percentages it is points, not a share of either."""
    return "points" if unit == "%" else unit


def probability(value: float) -> str:
    """Return a probability that never reads 0 or 1."""
    if not np.isfinite(value):
        return "–"
    return ">0.999" if value > 0.999 else "<0.001" if value < 0.001 else f"{value:.3f}"


def listed_pairs(answer: Comparison, metric: MetricAnswer) -> list[Difference]:
    """Return the pairs to show: all of a few motors, else those with the one most likely first."""
    if len(answer.names) <= FEW:
        return list(metric.differences)
    first = max(answer.names, key=lambda name: metric.ranks[name][0])
    return [pair for pair in metric.differences if first in (pair.first, pair.second)]


def front_text(found: Dominance) -> str:
    """Return which motors nobody beats in everything, as a sentence."""
    shares = dict(zip(found.motors, found.front.tolist(), strict=True))
    named = {name: p for name, p in shares.items() if len(shares) <= FEW or p >= _SOME}
    listed = ", ".join(f"{name} {probability(p)}" for name, p in named.items())
    rest = "" if len(named) == len(shares) else f"; of all others it is below {_SOME:g}"
    return (
        f"Judged by {', '.join(found.metrics)}: the probability that no other motor is better in every one "
        f"of these is {listed}{rest}."
    )


def sharper_text(answers: Sequence[MetricAnswer]) -> str:
    """Return what subtracting draw by draw gained, from the least to the most; nothing where it is none."""
    rows = [
        (metric.metric.name, pair.sharper_by, pair.ratio_sharper_by)
        for metric in answers
        for pair in metric.differences
        if np.isfinite(pair.sharper_by) and np.isfinite(pair.ratio_sharper_by)
    ]
    if not rows:
        return ""
    least, most = min(rows, key=lambda row: row[1]), max(rows, key=lambda row: row[1])
    ratio_least, ratio_most = min(row[2] for row in rows), max(row[2] for row in rows)
    if max(most[1], ratio_most) < _GAINED:
        return ""
    if len(rows) == 1:
        return (
            f"Subtracted draw by draw, the difference is {most[1]:.1f} times narrower, and the ratio "
            f"{ratio_most:.1f} times, than that of motors that share nothing."
        )
    return (
        f"Subtracted draw by draw, differences are {least[1]:.1f} ({least[0]}) to {most[1]:.1f} ({most[0]}) "
        f"times narrower, and ratios {ratio_least:.1f} to {ratio_most:.1f} times, than intervals of motors "
        "that share nothing."
    )
