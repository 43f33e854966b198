"""Figure: each parameter's interval, with the prior behind it."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from motorfit.answers.posterior import FitLike, flat
from motorfit.answers.show import quantiles
from motorfit.quantities import PARAMETERS
from motorfit.report.format import interval_texts, meaning, shown
from motorfit.report.style import GREY, SERIES, FigureDict, axis, layout, tint

# What a reader asks of a motor first; sensor gains and heat stay in the table.
MOTOR_PANELS = ("kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia", "kt_kv_ratio")
PROPELLER_PANELS = ("thrust_coefficient", "torque_coefficient", "figure_of_merit", "prop_inertia")
_TITLES = {"kv": "speed constant", "kt": "torque constant", "kt_kv_ratio": "torque over back-EMF"}
_COLUMNS = 2
_LONGEST = 24  # letters of a label
_PAGE_PX = 1000


@dataclass(frozen=True)
class _Row:
    """One line of a panel: posterior and prior (low, median, high), in display units."""

    label: str
    series: int
    posterior: tuple[float, float, float]
    prior: tuple[float, float, float] | None


def parameter_figure(fits: Sequence[FitLike], interval: float = 0.9) -> FigureDict:
    """Return motor parameters of one or more fits as small panels, one a parameter.

    Thick pale bar: prior interval. Line with marker: posterior interval and median.
    """
    panels = []
    for name in MOTOR_PANELS:
        rows = [
            _row(fit, name, None, fit.motor, k, interval) for k, fit in enumerate(fits) if name in fit.draws
        ]
        if rows:
            panels.append((name, rows))
    return _panels(panels, interval)


def propeller_figure(fit: FitLike, interval: float = 0.9) -> FigureDict:
    """Return the propeller parameters of a campaign as small panels, one line a propeller."""
    panels = []
    for name in PROPELLER_PANELS:
        if name in fit.draws and fit.draws[name].ndim == 3:
            rows = [_row(fit, name, k, prop, k, interval) for k, prop in enumerate(fit.propellers)]
            panels.append((name, rows))
    return _panels(panels, interval)


def _row(fit: FitLike, name: str, column: int | None, label: str, series: int, interval: float) -> _Row:
    factor = shown(name).factor
    tail = 0.5 * (1.0 - interval)

    def spread(source: Any) -> tuple[float, float, float]:
        values = flat(source) if column is None else flat(source)[:, column]
        low, median, high = quantiles(values, (tail, 0.5, 1.0 - tail)) * factor
        return float(low), float(median), float(high)

    prior = spread(fit.prior[name]) if name in fit.prior else None
    return _Row(label, series % len(SERIES), spread(fit.draws[name]), prior)


def _panels(panels: Sequence[tuple[str, Sequence[_Row]]], interval: float) -> FigureDict:
    if not panels:
        return {"data": [], "layout": layout(120)}
    lines = math.ceil(len(panels) / _COLUMNS)
    most = max(len(rows) for _, rows in panels)
    panel_px, gap_px, top_px, bottom_px = 34 + 30 * most, 74, 34, 44
    inner = lines * panel_px + (lines - 1) * gap_px
    data: list[dict[str, Any]] = []
    look: dict[str, Any] = layout(inner + top_px + bottom_px)
    labels = max(len(row.label) for _, rows in panels for row in rows)
    room_px = 14 + 8 * min(labels, _LONGEST)
    look["margin"] = {"l": room_px, "r": 16, "t": top_px, "b": bottom_px}
    look["annotations"] = []
    # The second column needs room for its own labels, on a page of the usual width.
    gap = (room_px + 30) / (_PAGE_PX - room_px)
    width = 0.5 * (1.0 - gap)
    for index, (name, rows) in enumerate(panels):
        line, column = divmod(index, _COLUMNS)
        suffix = "" if index == 0 else str(index + 1)
        x_domain = (0.0, width) if column == 0 else (1.0 - width, 1.0)
        top = 1.0 - line * (panel_px + gap_px) / inner
        y_domain = (max(0.0, top - panel_px / inner), top)
        look[f"xaxis{suffix}"] = axis(x_domain, f"y{suffix}", nticks=5, range=_reach(rows))
        look[f"yaxis{suffix}"] = axis(
            y_domain,
            f"x{suffix}",
            tickvals=list(range(len(rows))),
            ticktext=[html.escape(_short(row.label)) for row in rows],
            range=[len(rows) - 0.4, -0.6],
            showgrid=False,
            fixedrange=True,
        )
        look["annotations"].append(_heading(name, x_domain[0], top))
        axes = {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}
        for position, row in enumerate(rows):
            data += _traces(name, row, position, axes, interval)
    return {"data": data, "layout": look}


def _reach(rows: Sequence[_Row]) -> list[float]:
    """Axis range over all bars of a panel with a margin, so that no bar ends at the frame."""
    ends = [
        end for row in rows for bar in (row.posterior, row.prior or row.posterior) for end in (bar[0], bar[2])
    ]
    low, high = min(ends), max(ends)
    margin = 0.05 * (high - low) or 0.05 * abs(high) or 1.0
    return [low - margin, high + margin]


def _heading(name: str, x: float, y: float) -> dict[str, Any]:
    quantity = PARAMETERS.get(name)
    symbol = "" if quantity is None else f"{_pretty(quantity.symbol)} · "
    unit = shown(name).unit
    title = _TITLES.get(name, name.replace("_", " "))
    text = f"<b>{symbol}{title}</b>" + (f"  [{unit}]" if unit else "")
    return {
        "text": text,
        "x": x,
        "y": y,
        "xref": "paper",
        "yref": "paper",
        "xanchor": "left",
        "yanchor": "bottom",
        "yshift": 4,
        "showarrow": False,
        "hovertext": meaning(name),
        "font": {"size": 13},
    }


def _pretty(symbol: str) -> str:
    """``K_v`` with a true subscript; Greek names as letters."""
    head, _, tail = symbol.partition("_")
    head = {"psi": "ψ", "tau": "τ", "alpha": "α", "omega": "ω"}.get(head, head)
    return f"{head}<sub>{tail}</sub>" if tail else head


def _short(label: str) -> str:
    return label if len(label) <= _LONGEST else label[: _LONGEST - 1] + "…"


def _traces(
    name: str, row: _Row, position: int, axes: dict[str, str], interval: float
) -> list[dict[str, Any]]:
    colour, marker, _ = SERIES[row.series]
    unit = shown(name).unit
    low, median, high = row.posterior
    texts = interval_texts(median, low, high)
    owner = html.escape(row.label)
    tell = f"{owner}: {texts[0]} ({texts[1]} … {texts[2]}) {unit}<br>{interval:.0%} posterior interval"
    found: list[dict[str, Any]] = []
    common = {"type": "scatter", "y": [position, position], **axes}
    if row.prior is not None:
        p_low, p_median, p_high = row.prior
        p_texts = interval_texts(p_median, p_low, p_high)
        found.append(
            {
                **common,
                "x": [p_low, p_high],
                "mode": "lines",
                "line": {"color": tint(GREY, 0.35), "width": 14},
                "hovertemplate": f"{owner}, prior: {p_texts[1]} … {p_texts[2]} {unit}<extra></extra>",
            }
        )
    found.append(
        {
            **common,
            "x": [low, high],
            "mode": "lines",
            "line": {"color": colour, "width": 4},
            "hovertemplate": tell + "<extra></extra>",
        }
    )
    found.append(
        {
            **common,
            "x": [median],
            "y": [position],
            "mode": "markers",
            "marker": {"color": colour, "symbol": marker, "size": 9},
            "hovertemplate": tell + "<extra></extra>",
        }
    )
    return found
