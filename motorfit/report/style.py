"""The look of figures and page: quiet, readable on light and dark, colour never alone."""

from __future__ import annotations

from typing import Any

FigureDict = dict[str, Any]
"""A figure as plotly reads it: ``data``, ``layout``. Plain data: building one imports no plotting library."""

# Middle tones that keep their contrast on a white and on a near-black page.
BLUE, OCHRE, TEAL, PLUM = "#3f7fd0", "#c07a1c", "#2a9d8a", "#a2609f"
GREY = "#8a8f98"
# A series is told by colour, marker and dash together.
SERIES: tuple[tuple[str, str, str], ...] = (
    (BLUE, "circle", "solid"),
    (OCHRE, "square", "dash"),
    (TEAL, "diamond", "dot"),
    (PLUM, "triangle-up", "dashdot"),
)
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"


def tint(colour: str, alpha: float) -> str:
    """Return ``#rrggbb`` as rgba with an opacity of 0..1."""
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha:g})"


def layout(height: int, **extra: Any) -> dict[str, Any]:
    """Return the common layout: no background, so that the page shows; its style sheet colours the text."""
    base: dict[str, Any] = {
        "height": height,
        "autosize": True,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 13, "color": GREY},
        "margin": {"l": 64, "r": 16, "t": 44, "b": 52},
        "hovermode": "closest",
        "showlegend": False,
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": tint(GREY, 0.7), "activecolor": GREY},
    }
    return {**base, **extra}


def axis(domain: tuple[float, float], anchor: str, title: str | None = None, **extra: Any) -> dict[str, Any]:
    """Return an axis over a share of the figure, anchored to its partner."""
    base: dict[str, Any] = {
        "domain": [round(domain[0], 4), round(domain[1], 4)],
        "anchor": anchor,
        "gridcolor": tint(GREY, 0.22),
        "linecolor": tint(GREY, 0.6),
        "zeroline": False,
        "showline": True,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": tint(GREY, 0.6),
        "automargin": False,
    }
    if title is not None:
        base["title"] = {"text": title, "font": {"size": 12}, "standoff": 6}
    return {**base, **extra}


def band_traces(
    x: list[Any],
    low: list[Any],
    high: list[Any],
    colour: str,
    name: str,
    axes: dict[str, str],
    shape: str = "linear",
) -> list[dict[str, Any]]:
    """Return the two traces that shade between low and high."""
    line = {"width": 0, "shape": shape}
    common = {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "line": line,
        "hoverinfo": "skip",
        "connectgaps": False,
    }
    return [
        {**common, **axes, "y": low, "showlegend": False, "name": name},
        {**common, **axes, "y": high, "fill": "tonexty", "fillcolor": tint(colour, 0.25), "name": name},
    ]
