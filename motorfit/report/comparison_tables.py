"""A comparison for the terminal. Building it prints nothing: the caller's console does."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from motorfit.report.comparison_many import cautions_of_many, claims_table, figure_lists
from motorfit.report.comparison_words import (
    FEW,
    front_text,
    listed_pairs,
    probability,
    sharper_text,
    unit_and_factor,
    unit_of_difference,
)
from motorfit.report.format import decimals, digits, held, interval_texts, percent
from motorfit.report.narrow import ByWidth, Name
from motorfit.report.tables import plain_table

if TYPE_CHECKING:
    from motorfit.answers.comparison import Comparison

SAFETY = (
    "Figures are of a bench, static, and of the units tested unless models were asked for. They certify "
    "nothing: keep guards and distance, the makers' limits, local rules and licensed practice."
)


def comparison_tables(answer: Comparison) -> Iterator[RenderableType]:
    """Yield cautions, the figures, the differences, score, dominance, claims and notes."""
    many = len(answer.names) > FEW
    if many:
        yield from cautions_of_many(answer)
        yield Text(f"Compared{_under(answer)}, {percent(answer.interval)} intervals", style="bold")
        yield from figure_lists(answer)
    else:
        for motor, caution in answer.warnings:
            yield Text.assemble(
                (f"caution ({caution.code}), {motor}: ", "bold yellow"), held(caution.message)
            )
        yield figures_table(answer)
    if len(answer.names) > 1:
        if not many:
            yield differences_table(answer)
            sharper = sharper_text(answer.metrics)
            if sharper:
                yield Text(sharper, style="dim")
        yield from _order(answer)
    if len(answer.claims) > FEW:
        yield claims_table(answer)
    else:
        yield from (Text(held(claim.text)) for claim in answer.claims)
    for table in answer.tables:
        yield from (Text(held(text)) for text in table.texts)
    for note in answer.notes:
        yield Text(f"note ({note.code}): {note.message}", style="dim")
    yield Text(SAFETY, style="dim")


def figures_table(answer: Comparison) -> Table:
    """Return each motor's figures with intervals."""
    table = plain_table(f"Compared{_under(answer)}, {percent(answer.interval)} intervals", keep=3)
    table.add_column("figure", overflow="fold")
    table.add_column("unit", no_wrap=True)
    table.add_column("better", no_wrap=True)
    for name in answer.names:
        table.add_column(Text(name), justify="right", overflow="fold")
    for metric in answer.metrics:
        unit, factor = unit_and_factor(metric)
        cells = []
        for name in answer.names:
            median, low, high = interval_texts(*metric.motors[name], factor)
            cells.append(Text(median if median == "–" else f"{median}\n{low} … {high}"))
        side = {1: "more", -1: "less", 0: ""}[metric.metric.better]
        table.add_row(Name(metric.metric.name), unit, side, *cells)
    return table


def differences_table(answer: Comparison) -> ByWidth:
    """Return differences of pairs, with their probabilities and verdicts."""
    title = "Differences, first less second"
    wide, narrow = plain_table(title), list[RenderableType]([Text(title, style="bold")])
    for heading in ("figure", "first", "second"):
        wide.add_column(heading, overflow="fold")
    wide.add_column("difference", justify="right", no_wrap=True)
    wide.add_column("P(first\ngreater)", justify="right", no_wrap=True)
    wide.add_column("what that says", overflow="fold")
    for metric in answer.metrics:
        unit, factor = unit_and_factor(metric)
        unit = unit_of_difference(unit)
        name = metric.metric.name
        narrow.append(Text(f"\n{name}", style="bold"))
        for pair in listed_pairs(answer, metric):
            median, low, high = interval_texts(pair.median, pair.low, pair.high, factor)
            found = median != "–"
            p = probability(pair.probability_first_greater)
            said = Text(held(pair.text), style="" if pair.verdict.endswith("-greater") else "yellow")
            value = f"{median} {unit}\n{low} … {high}" if found else "–"
            wide.add_row(Name(name), Text(pair.first), Text(pair.second), value, p, said)
            line = (
                f"{median} {unit}".rstrip() + f" ({low} … {high}), P(first\u00a0greater)\u00a0{p}"
                if found
                else "–"
            )
            narrow += [
                Padding(Text(f"{pair.first} − {pair.second}: {line}"), (0, 0, 0, 2)),
                Padding(said, (0, 0, 0, 4)),
            ]
            name = ""
    return ByWidth(110, wide, Group(*narrow, Text()))


def _order(answer: Comparison) -> Iterator[Table | Text]:
    if answer.score is not None:
        score, tail = answer.score, 0.5 * (1.0 - answer.interval)
        stated = ", ".join(f"{name} {100.0 * weight:.0f}\u00a0%" for name, weight in score.weights.items())
        table = plain_table(f"Score by {stated}")
        for heading in ("motor", "score, % over the field", "P(first)", "P(first), weights scattered"):
            table.add_column(heading, justify="left" if heading == "motor" else "right")
        for name, draws in score.draws.items():
            low, median, high = 100.0 * np.nanquantile(draws, (tail, 0.5, 1.0 - tail))
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
        yield Text(front_text(answer.dominance))


def _under(answer: Comparison) -> str:
    stated = [str(answer.conditions["propeller"] or ""), _volts(answer)]
    condition = " · ".join(part for part in stated if part)
    return f": {condition}" if condition else ""


def _volts(answer: Comparison) -> str:
    volts = answer.conditions["voltage_v"]
    return "" if volts is None else f"{volts:g} V"
