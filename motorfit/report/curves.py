"""Figure: predicted curves over throttle with bands, and what was tested."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.facts import Envelope
from motorfit.answers.plain import numbers
from motorfit.answers.predict import Prediction
from motorfit.report.style import BLUE, GREY, FigureDict, axis, band_traces, layout, tint

_PANELS = (
    ("thrust_n", "thrust [N]", 1.0),
    ("speed_rpm", "speed [rpm]", 1.0),
    ("current_a", "bus current [A]", 1.0),
    ("electrical_power_w", "electrical power [W]", 1.0),
    ("motor_efficiency", "efficiency, shaft over bus [%]", 100.0),
    ("thrust_per_watt_g", "thrust per power [g/W]", 1.0),
)
_COLUMNS = 2


def prediction_figure(prediction: Prediction, tested: Envelope | None = None) -> FigureDict:
    """Return six curves of a prediction; the throttles whose speed and current were tested are shaded."""
    lines = math.ceil(len(_PANELS) / _COLUMNS)
    panel_px, space_px, top_px, bottom_px = 190, 60, 30, 52
    inner = lines * panel_px + (lines - 1) * space_px
    look: dict[str, Any] = layout(inner + top_px + bottom_px)
    look["margin"] = {"l": 66, "r": 14, "t": top_px, "b": bottom_px}
    look["shapes"], look["annotations"] = [], []
    data: list[dict[str, Any]] = []
    spans = [] if tested is None else _spans(prediction.throttle, _inside(prediction, tested))
    order = np.argsort(prediction.throttle, kind="stable")
    x = prediction.throttle[order].tolist()
    for index, (name, title, factor) in enumerate(_PANELS):
        line, column = divmod(index, _COLUMNS)
        suffix = "" if index == 0 else str(index + 1)
        x_domain = (0.0, 0.455) if column == 0 else (0.545, 1.0)
        top = 1.0 - line * (panel_px + space_px) / inner
        y_domain = (max(0.0, top - panel_px / inner), top)
        last = line == lines - 1
        look[f"xaxis{suffix}"] = axis(x_domain, f"y{suffix}", "throttle" if last else None, nticks=6)
        look[f"yaxis{suffix}"] = axis(y_domain, f"x{suffix}", title, nticks=5, rangemode="tozero")
        axes = {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}
        curve = prediction.curves[name]
        low, median, high = (factor * values[order] for values in (curve.low, curve.median, curve.high))
        data += band_traces(x, numbers(low), numbers(high), BLUE, "band", axes)
        data.append(_median(x, low, median, high, title, prediction.interval, axes))
        look["shapes"] += [_tested(span, f"x{suffix}", f"y{suffix}") for span in spans]
    if spans:
        look["annotations"].append(_legend(spans[0]))
    return {"data": data, "layout": look}


def _median(
    x: list[float],
    low: NDArray[np.float64],
    median: NDArray[np.float64],
    high: NDArray[np.float64],
    title: str,
    interval: float,
    axes: dict[str, str],
) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines+markers" if len(x) <= 40 else "lines",
        "x": x,
        "y": numbers(median),
        "customdata": [list(pair) for pair in zip(numbers(low), numbers(high), strict=True)],
        "line": {"color": BLUE, "width": 2},
        "marker": {"color": BLUE, "size": 5, "symbol": "circle"},
        "hovertemplate": f"throttle %{{x:.3g}}<br>{title}: %{{y:.4g}}<br>"
        f"{interval:.0%}: %{{customdata[0]:.4g}} … %{{customdata[1]:.4g}}<extra></extra>",
        **axes,
    }


def _inside(prediction: Prediction, tested: Envelope) -> NDArray[np.bool_]:
    """Mark the throttles (G,) whose median speed and current lie within what was tested."""
    inside = np.ones(len(prediction.throttle), dtype=bool)
    for name, span in (("speed_rpm", tested.speed_rpm), ("current_a", tested.current_a)):
        if span is not None:
            values = prediction.curves[name].median
            with np.errstate(invalid="ignore"):
                inside &= (values >= 0.98 * span[0]) & (values <= 1.02 * span[1])
    return inside


def _spans(throttle: NDArray[np.float64], mask: NDArray[np.bool_]) -> list[tuple[float, float]]:
    order = np.argsort(throttle, kind="stable")
    found: list[tuple[float, float]] = []
    open_ = False
    for index in order:
        if mask[index]:
            value = float(throttle[index])
            found = [*found[:-1], (found[-1][0], value)] if open_ else [*found, (value, value)]
        open_ = bool(mask[index])
    return [span for span in found if span[1] > span[0]]


def _tested(span: tuple[float, float], x_axis: str, y_axis: str) -> dict[str, Any]:
    return {
        "type": "rect",
        "layer": "below",
        "x0": span[0],
        "x1": span[1],
        "xref": x_axis,
        "y0": 0,
        "y1": 1,
        "yref": f"{y_axis} domain",
        "fillcolor": tint(GREY, 0.13),
        "line": {"width": 1, "color": tint(GREY, 0.45), "dash": "dot"},
    }


def _legend(span: tuple[float, float]) -> dict[str, Any]:
    return {
        "text": "speed and current tested",
        "x": 0.5 * (span[0] + span[1]),
        "y": 1.0,
        "xref": "x",
        "yref": "y domain",
        "yanchor": "bottom",
        "showarrow": False,
        "yshift": 2,
        "font": {"size": 11.5},
    }
