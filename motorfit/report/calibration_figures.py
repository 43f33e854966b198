"""Figures of calibration as small SVG files: a page in a repository runs no script."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from motorfit.calibration.summary import Scored, Summary, band

__all__ = ["coverage_figure", "ranks_figure"]

_INK, _PALE, _DOT, _BAD = "#333", "#dde5ee", "#1f5a96", "#b03020"
_BINS = 10
_COLUMNS = 4


def _svg(width: float, height: float, body: Sequence[str], title: str) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="img" font-family="sans-serif" font-size="11" fill="{_INK}">'
    )
    back = f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>'
    return "\n".join([head, f"<title>{escape(title)}</title>", back, *body, "</svg>", ""])


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def coverage_figure(summaries: Sequence[Summary], names: Sequence[str], interval: float = 0.90) -> str:
    """Shares of intervals that hold the truth, with their doubt: a row a parameter, a panel a scenario."""
    left, panel, row, top = 150.0, 120.0, 16.0, 40.0
    step = top + row * len(names) + 8.0
    lines = -(-len(summaries) // _COLUMNS)
    body: list[str] = []
    for k, summary in enumerate(summaries):
        x0 = left + (k % _COLUMNS) * (panel + 16.0)
        y0 = (k // _COLUMNS) * step + top
        bottom = y0 + row * len(names)

        def at(share: float, x0: float = x0) -> float:
            return x0 + panel * (share - 0.4) / 0.6

        body.append(_text(x0, y0 - 20.0, f"{summary.scenario} ({summary.benches})"))
        body.append(_text(at(interval), y0 - 6.0, f"{100 * interval:g} %", "middle"))
        body.append(
            f'<rect x="{at(0.85):.1f}" y="{y0:.1f}" width="{at(0.95) - at(0.85):.1f}" '
            f'height="{bottom - y0:.1f}" fill="{_PALE}"/>'
        )
        known = {one.name: one for one in summary.parameters}
        for i, name in enumerate(names):
            y = y0 + row * (i + 0.5)
            if k % _COLUMNS == 0:
                body.append(_text(left - 8.0, y + 4.0, name, "end"))
            share = (
                next((s for s in known[name].shares if s.interval == interval), None)
                if name in known
                else None
            )
            if share is None:
                continue
            colour = _DOT if share.believed else _BAD
            low, high = max(at(share.low), x0), min(at(share.high), x0 + panel)
            body.append(f'<line x1="{low:.1f}" x2="{high:.1f}" y1="{y:.1f}" y2="{y:.1f}" stroke="{colour}"/>')
            middle = max(at(share.held / share.of), x0)
            body.append(f'<circle cx="{middle:.1f}" cy="{y:.1f}" r="3" fill="{colour}"/>')
    width = left + min(len(summaries), _COLUMNS) * (panel + 16.0)
    return _svg(width, lines * step + 8.0, body, "Share of 90 % intervals that hold the truth")


def ranks_figure(scored: Sequence[Scored], title: str) -> str:
    """Histograms of ranks, and under each how far their distribution is from uniform, with the 95 % band."""
    size, high, gap = 130.0, 50.0, 22.0
    step = 2.0 * high + 3.0 * gap
    body: list[str] = []
    shown = [one for one in scored if one.uniform is not None]
    for k, one in enumerate(shown):
        x0 = 12.0 + (k % _COLUMNS) * (size + 20.0)
        y0 = 20.0 + (k // _COLUMNS) * step
        colour = _DOT if one.uniform else _BAD
        body.append(_text(x0, y0 - 4.0, one.name))
        body += _histogram(one.ranks, x0, y0, size, high, colour)
        body += _difference(one.ranks, x0, y0 + high + 10.0, size, high, colour)
    lines = -(-len(shown) // _COLUMNS)
    return _svg(12.0 + _COLUMNS * (size + 20.0), 20.0 + lines * step, body, title)


def _histogram(
    ranks: Sequence[float], x0: float, y0: float, size: float, high: float, colour: str
) -> list[str]:
    from scipy.stats import binom

    counts, _ = np.histogram(ranks, bins=_BINS, range=(0.0, 1.0))
    n = len(ranks)
    least, most = binom.ppf([0.025, 0.975], n, 1.0 / _BINS)
    scale = high / max(float(counts.max()), float(most), 1.0)
    body = [
        f'<rect x="{x0:.1f}" y="{y0 + high - scale * most:.1f}" width="{size:.1f}" '
        f'height="{scale * (most - least):.1f}" fill="{_PALE}"/>'
    ]
    for i, count in enumerate(counts):
        body.append(
            f'<rect x="{x0 + size * i / _BINS + 1:.1f}" y="{y0 + high - scale * count:.1f}" '
            f'width="{size / _BINS - 2:.1f}" height="{scale * count:.1f}" fill="{colour}" opacity="0.7"/>'
        )
    return body


def _difference(
    ranks: Sequence[float], x0: float, y0: float, size: float, high: float, colour: str
) -> list[str]:
    at, low, up = band(len(ranks))
    share = np.searchsorted(np.sort(ranks), at, side="right") / len(ranks)
    reach = 1.1 * float(np.max(np.abs([share - at, low - at, up - at])))

    def points(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[str]:
        y = y0 + 0.5 * high * (1.0 - (values - at) / reach)
        return [f"{x0 + size * a:.1f},{b:.1f}" for a, b in zip(at, y, strict=True)]

    ring = " ".join([*points(low), *reversed(points(up))])
    return [
        f'<polygon points="{ring}" fill="{_PALE}"/>',
        f'<polyline points="{" ".join(points(share))}" fill="none" stroke="{colour}"/>',
    ]
