"""A comparison of many motors for the terminal: a list a figure, best first, and what repeats said once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from rich.table import Table
from rich.text import Text

from motorfit.report.comparison_words import probability, unit_and_factor
from motorfit.report.format import held, interval_texts
from motorfit.report.tables import plain_table

if TYPE_CHECKING:
    from motorfit.answers.comparison import Comparison, MetricAnswer
    from motorfit.answers.differences import Difference

_NEXT = {
    "equal-in-practice": "equal in practice",
    "cannot-be-told-apart": "cannot be told apart",
    "no-answer": "–",
}


def figure_lists(answer: Comparison) -> Iterator[Table | Text]:
    """Yield a table for each figure: the motors in their order, each beside the one after it."""
    for metric in answer.metrics:
        yield figure_list(answer, metric)
    yield Text("Every pair of motors is in the answer of --json.", style="dim")


def figure_list(answer: Comparison, metric: MetricAnswer) -> Table:
    """Return the motors best first (greatest first where neither is better), each beside the next one."""
    unit, factor = unit_and_factor(metric)
    better = metric.metric.better
    side = {1: ", more is better", -1: ", less is better", 0: ""}[better]
    table = plain_table(f"{metric.metric.name}{f' [{unit}]' if unit else ''}{side}")
    table.add_column("motor", overflow="fold")
    table.add_column("median", justify="right", no_wrap=True)
    table.add_column("interval", justify="right", no_wrap=True)
    table.add_column("P(first)", justify="right", no_wrap=True)
    table.add_column("P(before\nthe next)", justify="right", no_wrap=True)
    table.add_column("it and the next", overflow="fold")
    order = ordered(answer, metric)
    pairs = {frozenset((pair.first, pair.second)): pair for pair in metric.differences}
    for name, after in zip(order, [*order[1:], None], strict=True):
        median, low, high = interval_texts(*metric.motors[name], factor)
        ahead, said = ("", "")
        if after is not None:
            ahead, said = _beside(pairs[frozenset((name, after))], name, better)
        spread = "" if median == "–" else f"{low} … {high}"
        table.add_row(Text(name), median, spread, probability(metric.ranks[name][0]), ahead, said)
    return table


def ordered(answer: Comparison, metric: MetricAnswer) -> list[str]:
    """Return the motors by median, the better first; those without a figure last."""
    sign = 1.0 if metric.metric.better < 0 else -1.0

    def key(name: str) -> float:
        median = metric.motors[name][0]
        return sign * median if np.isfinite(median) else np.inf

    return sorted(answer.names, key=key)


def _beside(pair: Difference, name: str, better: int) -> tuple[str, str]:
    """How likely a motor is really before the next one, and what is said of the two."""
    p = pair.probability_first_greater
    ahead = p if (pair.first == name) == (better >= 0) else 1.0 - p
    beyond = max(pair.probability_first_beyond, pair.probability_second_beyond)
    said = _NEXT.get(pair.verdict)
    if said is None:
        said = "differ by more than the margin" if beyond >= 0.95 else "differ; whether it matters is open"
    return probability(ahead), said


def cautions_of_many(answer: Comparison) -> Iterator[Text]:
    """Yield each kind of caution once, in the words for its first motor, with the others named."""
    kinds: dict[str, list[tuple[str, str]]] = {}
    for motor, caution in answer.warnings:
        kinds.setdefault(caution.code, []).append((motor, caution.message))
    for code, each in kinds.items():
        first, message = each[0]
        others = [motor for motor, _ in each[1:]]
        tail = f" Likewise {', '.join(dict.fromkeys(others))}, each by its own figures." if others else ""
        yield Text.assemble((f"caution ({code}), {first}: ", "bold yellow"), held(message + tail))


def claims_table(answer: Comparison) -> Table:
    """Return labels and claims of many motors, a row each."""
    table = plain_table("Labels and claims")
    for heading in ("motor", "figure"):
        table.add_column(heading, overflow="fold")
    for heading in ("stated", "unit tested\nis off by"):
        table.add_column(heading, justify="right", no_wrap=True)
    steps = list(answer.claims[0].within)
    for step in steps:
        table.add_column(f"P(within\n{100.0 * step:g} %)", justify="right", no_wrap=True)
    table.add_column("P(another unit\nas far off)", justify="right", no_wrap=True)
    for claim in answer.claims:
        median, low, high = interval_texts(*claim.deviation, 100.0)
        off = "–" if median == "–" else f"{median} % ({low} … {high})"
        unit = "" if claim.unit == "1" else f" {claim.unit}"
        figure = f"{claim.metric}, label" if claim.printed else claim.metric
        table.add_row(
            Text(claim.motor), Text(figure), f"{claim.claimed:g}{unit}", off,
            *(probability(claim.within[step]) for step in steps), probability(claim.probability_as_far),
        )  # fmt: skip
    return table
