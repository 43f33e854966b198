"""A comparison for the terminal. Building it prints nothing: the caller's console does."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Group
from rich.table import Table
from rich.text import Text

from motorfit.report.format import decimals, digits, interval_texts, percent, shown
from motorfit.report.tables import plain_table

if TYPE_CHECKING:
    from motorfit.answers.comparison import Comparison, MetricAnswer
    from motorfit.answers.differences import Difference

FEW = 4
"""Motors up to which every pair is listed; beyond, each against the one ranked first."""
_SYMBOLS = {"N m": "N·m", "N m/A": "N·m/A", "kg m^2": "kg·m²", "1": "", "1/g": "1/g", "ohm": "Ω"}
SAFETY = (
    "Figures are of a bench, static, and of the units tested unless models were asked for. They certify "
    "nothing: keep guards and distance, the makers' limits, local rules and licensed practice."
)


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


def comparison_tables(answer: Comparison) -> Iterator[Group | Table | Text]:
    """Yield cautions, the figures, the differences, score, dominance, claims and notes."""
    for motor, caution in answer.warnings:
        yield Text.assemble((f"caution ({caution.code}), {motor}: ", "bold yellow"), caution.message)
    yield figures_table(answer)
    if len(answer.names) > 1:
        yield differences_table(answer)
        yield from _order(answer)
    for claim in answer.claims:
        yield Text(claim.text)
    for table in answer.tables:
        for column in table.columns:
            low, median, high = column.ratio[1], column.ratio[0], column.ratio[2]
            yield Text(
                f"{table.motor}, {table.table}: claimed {column.name} over predicted {median:.3f} "
                f"({low:.3f} to {high:.3f}); a table this far off or farther has probability "
                f"{column.probability_as_far:.2g}."
            )
    for note in answer.notes:
        yield Text(f"note ({note.code}): {note.message}", style="dim")
    yield Text(SAFETY, style="dim")


def figures_table(answer: Comparison) -> Table:
    """Return each motor's figures with intervals."""
    stated = [str(answer.conditions["propeller"] or ""), _volts(answer)]
    condition = " · ".join(part for part in stated if part)
    table = plain_table(
        f"Compared{': ' + condition if condition else ''}, {percent(answer.interval)} intervals"
    )
    table.add_column("figure", overflow="fold")
    table.add_column("unit", no_wrap=True)
    for name in answer.names:
        table.add_column(Text(name), justify="right", overflow="fold")
    for metric in answer.metrics:
        unit, factor = unit_and_factor(metric)
        cells = []
        for name in answer.names:
            median, low, high = interval_texts(*metric.motors[name], factor)
            cells.append(Text(median if median == "–" else f"{median}\n{low} … {high}"))
        table.add_row(Text(metric.metric.name), unit, *cells)
    return table


def differences_table(answer: Comparison) -> Table:
    """Return differences of pairs, with their probabilities and verdicts."""
    table = plain_table("Differences, first less second")
    for heading in ("figure", "first", "second"):
        table.add_column(heading, overflow="fold")
    table.add_column("difference", justify="right", no_wrap=True)
    table.add_column("P(first\ngreater)", justify="right", no_wrap=True)
    table.add_column("what that says", overflow="fold")
    for metric in answer.metrics:
        unit, factor = unit_and_factor(metric)
        previous = ""
        for pair in listed_pairs(answer, metric):
            median, low, high = interval_texts(pair.median, pair.low, pair.high, factor)
            value = "–" if median == "–" else f"{median} {unit}\n{low} … {high}"
            name = "" if previous == metric.metric.name else metric.metric.name
            previous = metric.metric.name
            table.add_row(
                Text(name), Text(pair.first), Text(pair.second), value,
                probability(pair.probability_first_greater),
                Text(pair.text, style="" if pair.verdict.endswith("-greater") else "yellow"),
            )  # fmt: skip
    return table


def listed_pairs(answer: Comparison, metric: MetricAnswer) -> list[Difference]:
    """Return the pairs to show: all of a few motors, else those with the one most likely first."""
    if len(answer.names) <= FEW:
        return list(metric.differences)
    first = max(answer.names, key=lambda name: metric.ranks[name][0])
    return [pair for pair in metric.differences if first in (pair.first, pair.second)]


def probability(value: float) -> str:
    """Return a probability that never reads 0 or 1."""
    if not np.isfinite(value):
        return "–"
    return ">0.999" if value > 0.999 else "<0.001" if value < 0.001 else f"{value:.3f}"


def _order(answer: Comparison) -> Iterator[Table | Text]:
    if answer.score is not None:
        score = answer.score
        stated = ", ".join(f"{name} {100.0 * weight:.0f} %" for name, weight in score.weights.items())
        table = plain_table(f"Score by {stated}")
        for heading in ("motor", "score, % over the field", "P(first)", "P(first), weights scattered"):
            table.add_column(heading, justify="left" if heading == "motor" else "right")
        for name, draws in score.draws.items():
            low, median, high = 100.0 * np.nanquantile(draws, (0.05, 0.5, 0.95))
            places = decimals(0.5 * (high - low), median)
            spread = f"{digits(median, places)} ({digits(low, places)} … {digits(high, places)})"
            table.add_row(
                Text(name),
                spread,
                probability(score.ranks[name][0]),
                probability(score.ranks_over_weights[name][0]),
            )
        yield table
        yield Text(score.note)
    if answer.dominance is not None:
        front = ", ".join(
            f"{name} {probability(p)}"
            for name, p in zip(answer.dominance.motors, answer.dominance.front.tolist(), strict=True)
        )
        yield Text(f"Probability that no other motor is better in everything with a better side: {front}.")


def _volts(answer: Comparison) -> str:
    volts = answer.conditions["voltage_v"]
    return "" if volts is None else f"{volts:g} V"
