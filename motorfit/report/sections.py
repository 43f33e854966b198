"""Sections of the page that are not figures: the parameter table, the predictions, the origin."""

from __future__ import annotations

import html
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from motorfit.answers.facts import envelope
from motorfit.answers.posterior import FitWithData
from motorfit.answers.predict import predict
from motorfit.answers.show import MotorSummary
from motorfit.report.curves import prediction_figure
from motorfit.report.format import held, interval_texts, meaning, percent, shown
from motorfit.report.style import FigureDict

Prepared = tuple[str, FigureDict | None, str, list[str]]
"""Heading, figure, caption, notes."""


def parameter_table(summary: MotorSummary) -> str:
    """Return every parameter of a motor as an HTML table."""
    rows = []
    for p in summary.parameters:
        unit = shown(p.name)
        median, low, high = interval_texts(p.median, p.low, p.high, unit.factor)
        learned = (
            percent(p.contraction)
            if p.learned
            else f'<span class="no">not learned</span> ({percent(p.contraction)})'
        )
        rows.append(
            f"<tr><td><code>{html.escape(p.key)}</code></td><td class='n nowrap'>{median}</td>"
            f"<td class='n nowrap'>{low} … {high}</td><td class='nowrap'>{html.escape(unit.unit)}</td>"
            f"<td class='nowrap'>{learned}</td><td class='small'>{html.escape(meaning(p.name))}</td></tr>"
        )
    head = (
        "<tr><th>parameter</th><th class='n'>median</th>"
        f"<th class='n'>{percent(summary.interval)} interval</th><th>unit</th>"
        "<th>narrowed by</th><th>meaning</th></tr>"
    )
    note = (
        '<p class="small">“Narrowed by” is the share of the prior\'s variance that the runs took away '
        "(on the logarithm for positive quantities); under 20 % reads “not learned”.</p>"
    )
    return f'<div class="scroll" tabindex="0"><table>{head}{"".join(rows)}</table></div>{note}'


def prediction_sections(fit: FitWithData, voltage_v: float | None, interval: float) -> Iterator[Prepared]:
    """Yield the predicted curves of a motor with each propeller it was run with (all, where it ran none)."""
    ran = [name for name in fit.propellers if envelope(fit, name) is not None]
    for propeller in ran or fit.propellers:
        tested = envelope(fit, propeller) or envelope(fit)
        span = None if tested is None else tested.voltage_v
        heading = f"{fit.motor} with {propeller}"
        supply = voltage_v
        if supply is None and span is not None:
            supply = math.floor(span[1] * 10.0 + 0.5) / 10.0
        if supply is None or supply <= 0.0:
            yield heading, None, "", ["No voltage was logged, so no curve is drawn; give one to predict at."]
            continue
        prediction = predict(
            fit, propeller=propeller, voltage_v=supply, interval=interval, throttle=np.linspace(0.05, 1.0, 39)
        )
        caption = (
            f"Median and {percent(interval)} band at {supply:g} V from an ideal supply, in campaign air. "
            "Shaded: throttles whose speed and current the runs covered."
        )
        notes = [held(warning.message) for warning in prediction.warnings]
        yield f"{heading} at {supply:g} V", prediction_figure(prediction, tested), caption, notes


def origin_section(fits: Sequence[FitWithData]) -> str:
    """Return where the numbers come from: method, seed, versions, inputs, diagnostics."""
    parts = ["<h2>Where this comes from</h2>"]
    for fit in fits:
        rows = [("fit", fit.fit_id)]
        for key, value in fit.attributes.items():
            if key not in ("findings", "motor", "priors"):
                rows += _rows(str(key), value)
        body = "".join(
            f"<tr><td class='nowrap'>{html.escape(key)}</td><td class='wide'>{html.escape(value)}</td></tr>"
            for key, value in rows
        )
        title = html.escape(fit.motor)
        parts.append(f"<details><summary>{title}</summary><table class='small'>{body}</table></details>")
    return "\n".join(parts)


def _rows(key: str, value: Any, depth: int = 0) -> list[tuple[str, str]]:
    if isinstance(value, Mapping) and depth < 2:
        return [row for name, item in value.items() for row in _rows(f"{key} · {name}", item, depth + 1)]
    if isinstance(value, float):
        return [(key, f"{value:.6g}")]
    if isinstance(value, (list, tuple)):
        return [(key, ", ".join(str(item) for item in value[:20]) + (", …" if len(value) > 20 else ""))]
    return [(key, str(value))]
