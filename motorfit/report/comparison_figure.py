"""Figure: how far each motor lies from the first one, figure by figure, against what matters."""

from __future__ import annotations

import html
import math
from typing import Any

from motorfit.answers.comparison import Comparison, MetricAnswer
from motorfit.answers.differences import Difference
from motorfit.report.style import GREY, SERIES, FigureDict, axis, layout, tint

_COLUMNS = 2
_ROW_PX, _GAP_PX, _TOP_PX, _BOTTOM_PX, _HEAD_PX = 30, 74, 34, 44, 34
_PAGE_PX = 1000
_LONGEST = 24


def comparison_figure(answer: Comparison) -> FigureDict:
    """Return one panel a metric: per cent over the first motor, intervals of the paired ratio.

    The shaded band is the margin within which motors count as equal in practice.
    """
    reference = answer.names[0]
    panels = [(metric, _rows(metric, reference)) for metric in answer.metrics]
    panels = [(metric, rows) for metric, rows in panels if rows]
    if not panels:
        return {"data": [], "layout": layout(120)}
    lines = math.ceil(len(panels) / _COLUMNS)
    panel_px = _HEAD_PX + _ROW_PX * max(len(rows) for _, rows in panels)
    inner = lines * panel_px + (lines - 1) * _GAP_PX
    room_px = 14 + 8 * min(max(len(name) for name in answer.names), _LONGEST)
    look: dict[str, Any] = layout(inner + _TOP_PX + _BOTTOM_PX)
    look["margin"] = {"l": room_px, "r": 16, "t": _TOP_PX, "b": _BOTTOM_PX}
    look["annotations"], look["shapes"] = [], []
    data: list[dict[str, Any]] = []
    width = 0.5 * (1.0 - (room_px + 30) / (_PAGE_PX - room_px))
    for index, (metric, rows) in enumerate(panels):
        line, column = divmod(index, _COLUMNS)
        suffix = "" if index == 0 else str(index + 1)
        x_domain = (0.0, width) if column == 0 else (1.0 - width, 1.0)
        top = 1.0 - line * (panel_px + _GAP_PX) / inner
        margin = 100.0 * metric.metric.margin
        look[f"xaxis{suffix}"] = axis(
            x_domain, f"y{suffix}", nticks=6, range=_reach(rows, margin), ticksuffix=" %"
        )
        look[f"yaxis{suffix}"] = axis(
            (max(0.0, top - panel_px / inner), top),
            f"x{suffix}",
            tickvals=list(range(len(rows))),
            ticktext=[html.escape(_short(name)) for name, *_ in rows],
            range=[len(rows) - 0.4, -0.6],
            showgrid=False,
            fixedrange=True,
        )
        look["annotations"].append(_heading(metric, x_domain[0], top))
        look["shapes"] += _zero(margin, f"x{suffix}", f"y{suffix}")
        for position, row in enumerate(rows):
            order = answer.names.index(row[0])
            data += _traces(row, position, order, {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}, reference)
    return {"data": data, "layout": look}


_Row = tuple[str, float, float, float]


def _rows(metric: MetricAnswer, reference: str) -> list[_Row]:
    """Name, and per cent over the reference: low, median, high."""
    found = []
    for pair in metric.differences:
        if pair.first != reference:
            continue
        low, median, high = _over(pair)
        if math.isfinite(median):
            found.append((pair.second, low, median, high))
    return found


def _over(pair: Difference) -> tuple[float, float, float]:
    """Second over first, in per cent; the ends of the interval of first over second change places."""
    median, low, high = (100.0 / r - 100.0 if r > 0.0 else math.nan for r in pair.ratio)
    return high, median, low


def _reach(rows: list[_Row], margin: float) -> list[float]:
    low = min([-margin, *(row[1] for row in rows)])
    high = max([margin, *(row[3] for row in rows)])
    room = 0.08 * (high - low)
    return [low - room, high + room]


def _heading(metric: MetricAnswer, x: float, y: float) -> dict[str, Any]:
    better = {1: ", more is better", -1: ", less is better", 0: ""}[metric.metric.better]
    return {
        "text": f"{html.escape(metric.metric.name)}<span style='font-size:11px'>{better}</span>",
        "x": x,
        "y": y,
        "xref": "paper",
        "yref": "paper",
        "xanchor": "left",
        "yanchor": "bottom",
        "yshift": 4,
        "showarrow": False,
        "font": {"size": 13},
    }


def _zero(margin: float, x_axis: str, y_axis: str) -> list[dict[str, Any]]:
    common = {"xref": x_axis, "yref": f"{y_axis} domain", "y0": 0, "y1": 1, "layer": "below"}
    band = {
        **common,
        "type": "rect",
        "x0": -margin,
        "x1": margin,
        "fillcolor": tint(GREY, 0.16),
        "line": {"width": 0},
    }
    line = {**common, "type": "line", "x0": 0, "x1": 0, "line": {"color": tint(GREY, 0.8), "width": 1}}
    return [band, line]


def _traces(
    row: _Row, position: int, order: int, axes: dict[str, str], reference: str
) -> list[dict[str, Any]]:
    colour, marker, _ = SERIES[order % len(SERIES)]
    name, low, median, high = row
    tell = (
        f"{html.escape(name)} over {html.escape(reference)}: {median:+.2f} % ({low:+.2f} … {high:+.2f} %)"
        "<extra></extra>"
    )
    common = {"type": "scatter", "hovertemplate": tell, **axes}
    return [
        {
            **common,
            "x": [low, high],
            "y": [position, position],
            "mode": "lines",
            "line": {"color": colour, "width": 4},
        },
        {
            **common,
            "x": [median],
            "y": [position],
            "mode": "markers",
            "marker": {"color": colour, "symbol": marker, "size": 9},
        },
    ]


def _short(label: str) -> str:
    return label if len(label) <= _LONGEST else label[: _LONGEST - 1] + "…"
