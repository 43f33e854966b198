"""One self-contained page for the motors of a fit: cautions first, then parameters, curves, runs, origin."""

from __future__ import annotations

import html
import json
import os
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from motorfit.answers.comparison import Comparison
from motorfit.answers.pairing import campaign_of
from motorfit.answers.posterior import FitWithData
from motorfit.answers.show import summarise
from motorfit.errors import MotorfitError
from motorfit.report.assets import SCRIPT, STYLE, plot_script
from motorfit.report.comparison_figure import comparison_figure
from motorfit.report.comparison_section import comparison_cautions, comparison_lead, comparison_tables_html
from motorfit.report.format import held, percent
from motorfit.report.parameters import parameter_figure, propeller_figure
from motorfit.report.remarks import page_cautions
from motorfit.report.runs import run_figure, run_ids
from motorfit.report.sections import origin_section, parameter_table, prediction_sections
from motorfit.report.style import FigureDict

_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:"


class ReportError(MotorfitError):
    """The page cannot be written; the message says where and what to do."""


class _Figures:
    """Places figures on the page: a frame with its caption, and its data in a script of its own."""

    def __init__(self) -> None:
        self._data: list[str] = []

    def place(self, figure: FigureDict | None, caption: str) -> str:
        """Return the HTML of a figure; ``caption`` is plain text and is escaped here."""
        if figure is None or not figure["data"]:
            return ""
        name = f"figure-{len(self._data) + 1}"
        self._data.append(f'<script type="application/json" id="{name}">{_json(figure)}</script>')
        text = html.escape(caption)
        height = int(figure["layout"]["height"])
        return (
            f'<figure><div class="scroll" tabindex="0"><div class="plot" role="img" aria-label="{text}" '
            f'data-figure="{name}" style="height:{height}px"></div></div>'
            f"<figcaption>{text}</figcaption></figure>"
        )

    def scripts(self) -> str:
        """Return every figure's data."""
        return "\n".join(self._data)


def _json(value: Any) -> str:
    """JSON that can stand inside a script element whatever text it holds."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def write_fit_page(
    fit: FitWithData | Sequence[FitWithData],
    path: Path,
    *,
    voltage_v: float | None = None,
    interval: float = 0.9,
    comparison: Comparison | None = None,
) -> Path:
    """Write the page of one fit, or of several motors, as one HTML file that needs no network.

    Parameters
    ----------
    fit:
        One fit, or the fits of several motors, of one campaign or of several.
    path:
        Where to write; replaced whole or not at all.
    voltage_v:
        Supply [V] of the predicted curves; the highest tested one when left out.
    interval:
        Probability inside every interval and band.
    comparison:
        Of these motors, shown before all else; left out, there is no such section.

    Raises
    ------
    ReportError
        The file cannot be written.
    """
    fits = list(fit) if isinstance(fit, Sequence) else [fit]
    if not fits:
        raise ReportError("report: no fit was given; at least one is needed. Name a motor of the library.")
    _write_whole(path, fit_page(fits, voltage_v=voltage_v, interval=interval, comparison=comparison))
    return path


def fit_page(
    fits: Sequence[FitWithData],
    *,
    voltage_v: float | None = None,
    interval: float = 0.9,
    comparison: Comparison | None = None,
) -> str:
    """Return the page's HTML; arguments as for `write_fit_page`."""
    figures = _Figures()
    summaries = [summarise(fit, interval) for fit in fits]
    cautions = page_cautions(fits, summaries, interval)
    if comparison is not None:
        cautions = [*dict.fromkeys([*comparison_cautions(comparison), *cautions])]
    body = [_header(fits), _cautions(cautions)]
    if comparison is not None:
        body += _compared(comparison, figures)
    body.append("<h2>Parameters</h2>")
    caption = (
        f"Line with marker: {percent(interval)} posterior interval and median. Pale bar behind: the same "
        "interval of the prior, before any data. Winding and magnet at 25 °C."
    )
    body.append(figures.place(parameter_figure(fits, interval), caption))
    for fit in _one_a_campaign(fits):
        if fit.propellers:
            body.append(f"<h3>Propellers of {html.escape(_campaign(fit))}</h3>")
            body.append(
                figures.place(
                    propeller_figure(fit, interval), caption.removesuffix(" Winding and magnet at 25 °C.")
                )
            )
    for summary in summaries:
        body.append(f"<details><summary>All parameters of {html.escape(summary.motor)}</summary>")
        body.append(parameter_table(summary) + "</details>")
    body.append("<h2>Predicted curves</h2>")
    for fit in fits:
        for heading, figure, text, notes in prediction_sections(fit, voltage_v, interval):
            body.append(f"<h3>{html.escape(heading)}</h3>{_notes(notes)}{figures.place(figure, text)}")
    body.append("<h2>What was logged, and what the model makes of it</h2>")
    body.append(
        f'<p class="small">Circles: block means of the log. Line and band: median and {percent(interval)} of '
        "what the fitted model would log. Beneath: the log minus that median, with the same band.</p>"
    )
    shown = False
    for fit in fits:
        for run in run_ids(fit):
            text = (
                f"Run {run} of {fit.motor}: blocks, posterior predictive band and residuals of each channel."
            )
            placed = figures.place(run_figure(fit, run, interval), text)
            body.append(
                f"<details{'' if shown else ' open'}><summary>{html.escape(run)}</summary>{placed}</details>"
            )
            shown = True
    body.append(origin_section(fits))
    return _document(" · ".join(fit.motor for fit in fits), "\n".join(body), figures.scripts())


def _compared(comparison: Comparison, figures: _Figures) -> list[str]:
    """Return the section that compares the motors; with one motor, its figures and claims."""
    several = len(comparison.names) > 1
    parts = [f"<h2>{'Compared' if several else 'Figures'}</h2>"]
    parts.append(f'<p class="small">{html.escape(comparison_lead(comparison))}</p>')
    if several:
        caption = (
            f"Each motor over {comparison.names[0]}, in per cent: median and {percent(comparison.interval)} "
            "interval, draw by draw. Shaded: differences that count as none in practice."
        )
        parts.append(figures.place(comparison_figure(comparison), caption))
    return [*parts, comparison_tables_html(comparison)]


def _one_a_campaign(fits: Sequence[FitWithData]) -> list[FitWithData]:
    found: dict[str, FitWithData] = {}
    for fit in fits:
        found.setdefault(campaign_of(fit), fit)
    return list(found.values())


def _campaign(fit: FitWithData) -> str:
    return str(fit.attributes.get("campaign") or "the campaign")


def _header(fits: Sequence[FitWithData]) -> str:
    motors = ", ".join(html.escape(fit.motor) for fit in fits)
    lines = []
    for fit in _one_a_campaign(fits):
        facts = [
            str(fit.attributes[key]) for key in ("campaign", "bench", "created") if fit.attributes.get(key)
        ]
        lines.append(f'<p class="lead">{html.escape(" · ".join(facts))}</p>')
    return f"<h1>{motors}</h1>{''.join(lines)}"


def _cautions(items: Iterable[str]) -> str:
    listed = "".join(f"<li>{html.escape(held(item))}</li>" for item in items)
    return f'<aside class="cautions"><h2>Before you use these numbers</h2><ul>{listed}</ul></aside>'


def _notes(items: Iterable[str]) -> str:
    listed = "".join(f"<li>{html.escape(item)}</li>" for item in items)
    return f'<ul class="notes">{listed}</ul>' if listed else ""


def _document(title: str, body: str, data: str) -> str:
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{html.escape(title)}</title><style>{STYLE}</style></head>\n<body><main>\n{body}\n</main>\n{data}\n"
        f"<script>{plot_script()}</script>\n<script>{SCRIPT}</script></body></html>\n"
    )


def _write_whole(path: Path, text: str) -> None:
    """Write to a temporary file beside the target, then rename: never half a page."""
    temporary: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as file:
            temporary = Path(file.name)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o644)
        temporary.replace(path)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        reason = error.strerror or str(error)
        raise ReportError(
            f"{path}: cannot be written ({reason}). Name a file in a folder that exists and may be "
            "written to."
        ) from error
