"""Figure: what a run logged, what the model says it should have logged, and what is left over."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.posterior import FitWithData, FloatArray
from motorfit.quantities import CHANNELS
from motorfit.report.style import BLUE, GREY, FigureDict, axis, band_traces, layout, tint

_RPM = 60.0 / (2.0 * math.pi)
_COLUMNS = 2


@dataclass(frozen=True)
class _Panel:
    """One channel of one run, sorted by x, in display units."""

    channel: str
    unit: str
    x: FloatArray
    observed: FloatArray
    low: FloatArray
    median: FloatArray
    high: FloatArray


def run_ids(fit: FitWithData) -> list[str]:
    """Return the runs a fit saw, in the order of their blocks."""
    runs = fit.observed.get("block_run")
    return [] if runs is None else [str(run) for run in dict.fromkeys(runs.tolist())]


def run_figure(fit: FitWithData, run: str, interval: float = 0.9) -> FigureDict | None:
    """Return blocks of one run with the posterior predictive band, residuals beneath; None without any.

    A run without times (a table) is drawn over throttle, else over speed, else in row order.
    """
    mask = np.asarray([str(name) == run for name in fit.observed["block_run"]])
    x, title = _abscissa(fit, mask)
    panels = [
        panel
        for channel in CHANNELS
        if channel in fit.observed and channel in fit.predictive
        for panel in (_panel(fit, channel, mask, x, interval),)
        if panel is not None
    ]
    if not panels:
        return None
    return _draw(panels, title, interval)


def _abscissa(fit: FitWithData, mask: NDArray[np.bool_]) -> tuple[FloatArray, str]:
    seen = fit.observed
    size = int(mask.sum())
    start, end = (np.asarray(seen[f"block_{edge}_s"], dtype=np.float64)[mask] for edge in ("start", "end"))
    middle: FloatArray = 0.5 * (start + end)
    if np.isfinite(middle).all() and np.ptp(middle) > 0.0:
        return middle, "time [s]"
    for channel, factor, label in (("throttle", 1.0, "throttle"), ("speed", _RPM, "speed [rpm]")):
        if channel in seen:
            values = np.asarray(seen[channel], dtype=np.float64)[mask] * factor
            if np.isfinite(values).all() and np.ptp(values) > 0.0:
                return values, label
    return np.arange(1.0, size + 1.0), "row"


def _panel(
    fit: FitWithData, channel: str, mask: NDArray[np.bool_], x: FloatArray, interval: float
) -> _Panel | None:
    observed = np.asarray(fit.observed[channel], dtype=np.float64)[mask]
    replicas = np.asarray(fit.predictive[channel], dtype=np.float64)[:, mask]
    known = np.isfinite(observed) & np.isfinite(replicas).all(axis=0)
    if not known.any():
        return None
    factor, unit = (_RPM, "rpm") if channel == "speed" else (1.0, _unit(channel))
    tail = 0.5 * (1.0 - interval)
    order = np.argsort(x[known], kind="stable")
    low, median, high = np.quantile(replicas[:, known], (tail, 0.5, 1.0 - tail), axis=0) * factor
    return _Panel(
        channel,
        unit,
        x[known][order],
        observed[known][order] * factor,
        low[order],
        median[order],
        high[order],
    )


def _unit(channel: str) -> str:
    return {"1": "", "N m": "N·m", "degC": "°C"}.get(CHANNELS[channel].unit, CHANNELS[channel].unit)


def _draw(panels: list[_Panel], x_title: str, interval: float) -> FigureDict:
    lines = math.ceil(len(panels) / _COLUMNS)
    data_px, gap_px, rest_px, space_px, top_px, bottom_px = 170, 10, 66, 84, 36, 52
    panel_px = data_px + gap_px + rest_px
    inner = lines * panel_px + (lines - 1) * space_px
    look: dict[str, Any] = layout(inner + top_px + bottom_px)
    look["margin"] = {"l": 66, "r": 14, "t": top_px, "b": bottom_px}
    look["annotations"], look["shapes"] = [], []
    data: list[dict[str, Any]] = []
    for index, panel in enumerate(panels):
        line, column = divmod(index, _COLUMNS)
        x_domain = (0.0, 0.455) if column == 0 else (0.545, 1.0)
        top = 1.0 - line * (panel_px + space_px) / inner
        split, rest_top = top - data_px / inner, top - (data_px + gap_px) / inner
        bottom = max(0.0, top - panel_px / inner)
        upper = "" if index == 0 else str(2 * index + 1)
        lower = str(2 * index + 2)
        label = panel.channel.replace("_", " ")
        y_title = f"{label} [{panel.unit}]" if panel.unit else label
        look[f"xaxis{upper}"] = axis(
            x_domain, f"y{upper}", matches=f"x{lower}", showticklabels=False, ticks=""
        )
        look[f"yaxis{upper}"] = axis((split, top), f"x{upper}", y_title, nticks=5)
        look[f"xaxis{lower}"] = axis(x_domain, f"y{lower}", x_title)
        look[f"yaxis{lower}"] = axis(
            (bottom, rest_top),
            f"x{lower}",
            "residual",
            nticks=4,
            zeroline=True,
            zerolinecolor=tint(GREY, 0.8),
        )
        look["annotations"].append(_share(panel, x_domain[0], top, interval, x_title))
        data += _upper(panel, {"xaxis": f"x{upper}", "yaxis": f"y{upper}"}, interval)
        data += _lower(panel, {"xaxis": f"x{lower}", "yaxis": f"y{lower}"})
    return {"data": data, "layout": look}


def _share(panel: _Panel, x: float, y: float, interval: float, x_title: str) -> dict[str, Any]:
    inside = np.mean((panel.observed >= panel.low) & (panel.observed <= panel.high))
    points = "blocks" if x_title.startswith("time") else "rows"
    return {
        "text": f"{inside:.0%} of {len(panel.x)} {points} inside the {interval:.0%} band",
        "x": x,
        "y": y,
        "xref": "paper",
        "yref": "paper",
        "xanchor": "left",
        "yanchor": "bottom",
        "yshift": 3,
        "showarrow": False,
        "font": {"size": 11.5},
    }


def _upper(panel: _Panel, axes: dict[str, str], interval: float) -> list[dict[str, Any]]:
    x = panel.x.tolist()
    name = html.escape(panel.channel)
    return [
        *band_traces(x, _list(panel.low), _list(panel.high), BLUE, "predictive band", axes),
        {
            "type": "scatter",
            "mode": "lines",
            "x": x,
            "y": _list(panel.median),
            "line": {"color": BLUE, "width": 1.4},
            "hoverinfo": "skip",
            **axes,
        },
        {
            **_points(x, _list(panel.observed), axes),
            "hovertemplate": f"{name} %{{y:.5g}} {panel.unit}<extra></extra>",
        },
    ]


def _lower(panel: _Panel, axes: dict[str, str]) -> list[dict[str, Any]]:
    x = panel.x.tolist()
    rest = panel.observed - panel.median
    low, high = panel.low - panel.median, panel.high - panel.median
    return [
        *band_traces(x, _list(low), _list(high), BLUE, "predictive band", axes),
        {
            **_points(x, _list(rest), axes),
            "hovertemplate": f"residual %{{y:.3g}} {panel.unit}<extra></extra>",
        },
    ]


def _points(x: list[float], y: list[float], axes: dict[str, str]) -> dict[str, Any]:
    marker = {
        "color": "rgba(0,0,0,0)",
        "size": 4.5,
        "symbol": "circle",
        "line": {"color": GREY, "width": 1.2},
    }
    return {"type": "scatter", "mode": "markers", "x": x, "y": y, "marker": marker, **axes}


def _list(values: FloatArray) -> list[float]:
    """Six digits are more than a screen shows, and a third of the bytes."""
    return [float(f"{value:.6g}") for value in values]
