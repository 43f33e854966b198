"""The comparison on the page: figures and differences as tables, order, claims, notes."""

from __future__ import annotations

import html
from collections.abc import Iterable

import numpy as np

from motorfit.answers.comparison import Comparison
from motorfit.report.comparison_words import (
    front_text,
    listed_pairs,
    probability,
    unit_and_factor,
    unit_of_difference,
)
from motorfit.report.format import decimals, digits, held, interval_texts, percent


def comparison_lead(answer: Comparison) -> str:
    """Return under which conditions the motors are compared, as a sentence."""
    stated = answer.conditions
    what = f"{answer.conditions['of']}, {percent(answer.interval)} intervals"
    if stated["propeller"] is not None and stated["voltage_v"] is not None:
        air = stated["air"]
        what += (
            f"; {stated['propeller']} at {stated['voltage_v']:g} V from an ideal supply, in air of "
            f"{air['temperature_c']:g} °C, {air['pressure_hpa']:g} hPa, {air['humidity_pct']:g} %"
        )
    return f"Of {what}."


def comparison_tables_html(answer: Comparison) -> str:
    """Return figures, and with several motors their differences and order, as HTML."""
    parts = [_figures(answer)]
    if len(answer.names) > 1:
        parts += [_differences(answer), *_order(answer)]
    if answer.claims or answer.tables:
        parts.append("<h3>Labels and claims</h3>" + _listed(_claims(answer)))
    parts.append(_listed(note.message for note in answer.notes))
    return "\n".join(parts)


def comparison_cautions(answer: Comparison) -> list[str]:
    """Return the cautions of the comparison's predictions, each once."""
    return list(dict.fromkeys(f"{motor}: {caution.message}" for motor, caution in answer.warnings))


def _figures(answer: Comparison) -> str:
    head = "".join(f"<th class='n'>{html.escape(name)}</th>" for name in answer.names)
    rows = []
    for metric in answer.metrics:
        unit, factor = unit_and_factor(metric)
        cells = []
        for name in answer.names:
            median, low, high = interval_texts(*metric.motors[name], factor)
            spread = "" if median == "–" else f"<br><span class='small'>{low} … {high}</span>"
            cells.append(f"<td class='n nowrap'>{median}{spread}</td>")
        rows.append(
            f"<tr><td><code>{html.escape(metric.metric.name)}</code></td><td>{html.escape(unit)}</td>"
            f"{''.join(cells)}</tr>"
        )
    return _table(f"<tr><th>figure</th><th>unit</th>{head}</tr>", rows)


def _differences(answer: Comparison) -> str:
    rows = []
    for metric in answer.metrics:
        unit, factor = unit_and_factor(metric)
        unit = unit_of_difference(unit)
        for pair in listed_pairs(answer, metric):
            median, low, high = interval_texts(pair.median, pair.low, pair.high, factor)
            spread = "" if median == "–" else f"<br><span class='small'>{low} … {high}</span>"
            sharper = " · ".join(
                digits(value, 1) if np.isfinite(value) else "–"
                for value in (pair.sharper_by, pair.ratio_sharper_by)
            )
            open_ = "" if pair.verdict.endswith("-greater") else " class='no'"
            rows.append(
                f"<tr><td><code>{html.escape(metric.metric.name)}</code></td>"
                f"<td>{html.escape(pair.first)} less {html.escape(pair.second)}</td>"
                f"<td class='n nowrap'>{median} {html.escape(unit)}{spread}</td>"
                f"<td class='n nowrap'>{html.escape(probability(pair.probability_first_greater))}</td>"
                f"<td class='n nowrap'>{sharper}</td>"
                f"<td class='said'><span{open_}>{html.escape(held(pair.text))}</span></td></tr>"
            )
    head = (
        "<tr><th>figure</th><th>difference</th><th class='n'>value</th><th class='n'>P(first greater)</th>"
        "<th class='n'>sharper by</th><th>what that says</th></tr>"
    )
    note = (
        '<p class="small">“Sharper by”: how many times narrower the difference, and the ratio, are than the '
        "two intervals taken as if the motors shared nothing.</p>"
    )
    return "<h3>Differences</h3>" + _table(head, rows) + note


def _order(answer: Comparison) -> Iterable[str]:
    score = answer.score
    if score is not None:
        stated = ", ".join(f"{name} {100.0 * weight:.0f} %" for name, weight in score.weights.items())
        tail = 0.5 * (1.0 - answer.interval)
        rows = []
        for name, draws in score.draws.items():
            low, median, high = 100.0 * np.nanquantile(draws, (tail, 0.5, 1.0 - tail))
            places = decimals(0.5 * (high - low), median)
            rows.append(
                f"<tr><td>{html.escape(name)}</td><td class='n nowrap'>{digits(median, places)}<br>"
                f"<span class='small'>{digits(low, places)} … {digits(high, places)}</span></td>"
                f"<td class='n'>{html.escape(probability(score.ranks[name][0]))}</td>"
                f"<td class='n'>{html.escape(probability(score.ranks_over_weights[name][0]))}</td></tr>"
            )
        head = (
            "<tr><th>motor</th><th class='n'>score, % over the field</th><th class='n'>P(first)</th>"
            "<th class='n'>P(first), weights scattered</th></tr>"
        )
        yield f"<h3>Score by {html.escape(stated)}</h3>{_table(head, rows)}<p>{html.escape(score.note)}</p>"
    if answer.dominance is not None:
        rows = [
            f"<tr><td>{html.escape(name)}</td><td class='n'>{html.escape(probability(p))}</td></tr>"
            for name, p in zip(answer.dominance.motors, answer.dominance.front.tolist(), strict=True)
        ]
        yield (
            "<h3>Beaten in everything?</h3>"
            + _table("<tr><th>motor</th><th class='n'>P(nobody is better in all)</th></tr>", rows)
            + f'<p class="small">{html.escape(front_text(answer.dominance))}</p>'
        )


def _claims(answer: Comparison) -> Iterable[str]:
    yield from (claim.text for claim in answer.claims)
    for table in answer.tables:
        yield from table.texts


def _table(head: str, rows: Iterable[str]) -> str:
    return f'<div class="scroll" tabindex="0"><table>{head}{"".join(rows)}</table></div>'


def _listed(items: Iterable[str]) -> str:
    listed = "".join(f"<li>{html.escape(held(item))}</li>" for item in items)
    return f'<ul class="notes">{listed}</ul>' if listed else ""
