from __future__ import annotations

import html
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from motorfit.report import page as page_module
from motorfit.report.page import ReportError, fit_page, write_fit_page
from motorfit.report.remarks import misfit_remarks
from tests.answers.standin import StandIn, make_fit

NASTY = '"><script>alert(1)</script>'


class Outline(HTMLParser):
    """Collects scripts, text and every attribute that could make a request."""

    def __init__(self) -> None:
        super().__init__()
        self.requests: list[tuple[str, str]] = []
        self.scripts: list[tuple[str, str]] = []
        self.text: list[str] = []
        self._kind: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.requests += [(tag, name) for name in ("src", "href", "srcset", "action") if name in found]
        self._kind = found.get("type", "code") if tag == "script" else ("style" if tag == "style" else None)

    def handle_endtag(self, tag: str) -> None:
        self._kind = None

    def handle_data(self, data: str) -> None:
        if self._kind in (None,):
            self.text.append(data)
        elif self._kind != "style":
            self.scripts.append((self._kind or "", data))


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the plotting library's own five megabytes."""
    monkeypatch.setattr(page_module, "plot_script", lambda: "/* plots */")


def outline(text: str) -> Outline:
    found = Outline()
    found.feed(text)
    return found


def campaign() -> list[StandIn]:
    return [make_fit(1, "tern"), make_fit(2, "gull")]


def test_the_page_needs_no_network(short: None) -> None:
    text = fit_page(campaign())
    assert outline(text).requests == []
    assert "default-src 'none'" in text
    assert "@import" not in text
    assert "url(" not in text


def test_it_holds_the_plotting_library_once() -> None:
    assert fit_page(campaign()).count("Plotly.newPlot(place") == 1
    assert len(fit_page(campaign())) > 3_000_000


def test_every_figure_has_its_data_and_its_words(short: None) -> None:
    text = fit_page(campaign())
    frames = re.findall(r'data-figure="(figure-\d+)"', text)
    data = re.findall(r'<script type="application/json" id="(figure-\d+)">(.*?)</script>', text, re.DOTALL)
    assert frames == [name for name, _ in data]
    assert len(frames) >= 6
    for _, figure in data:
        assert set(json.loads(figure)) == {"data", "layout"}
    assert text.count("<figcaption>") == len(frames) == text.count("aria-label=")


def test_cautions_come_before_any_number(short: None) -> None:
    fit = make_fit()
    fit.attributes["findings"] = [
        {
            "run": "tern-ramp",
            "channel": "speed",
            "severity": "warning",
            "message": "7 spikes",
            "remedy": "See.",
        },
        {"run": "tern-ramp", "channel": None, "severity": "note", "message": "a remark", "remedy": ""},
    ]
    found = " ".join(outline(fit_page([fit])).text)
    assert found.index("Before you use these numbers") < found.index("Parameters")
    assert "tern-ramp, speed: 7 spikes See." in found
    assert "a remark" not in found
    assert "they certify nothing" in found
    assert "p9x5x2: not learned" in found


def test_text_from_a_campaign_is_never_markup(short: None) -> None:
    fit = make_fit(1, NASTY)
    fit.attributes["campaign"] = NASTY
    fit.attributes["versions"] = {NASTY: NASTY}
    fit.observed["block_run"] = np.array([NASTY] * len(fit.observed["block_run"]), dtype=object)
    object.__setattr__(fit, "propellers", (NASTY, "p6x4x3", "p9x5x2"))
    fit.constant["propellers"][NASTY] = fit.constant["propellers"]["p7x35x3"]
    fit.constant["envelope"]["propellers"][NASTY] = fit.constant["envelope"]["propellers"]["p7x35x3"]
    text = fit_page([fit])
    assert "<script>alert" not in text
    assert html.escape(NASTY) in text
    kinds = [kind for kind, _ in outline(text).scripts]
    assert kinds.count("code") == 2
    # Inside figures the plotting library reads a little HTML of its own: ids reach it escaped as well.
    for kind, data in outline(text).scripts:
        if kind == "application/json":
            assert "<script" not in json.dumps(json.loads(data))


def test_a_misfit_is_named(rng: np.random.Generator) -> None:
    fit = make_fit()
    assert misfit_remarks(fit, 0.9) == []
    fit.observed["thrust"] = fit.observed["thrust"] + 1.0
    (text,) = misfit_remarks(fit, 0.9)
    assert text.startswith("tern-ramp: only 0 % of the thrust blocks lie inside the 90 % predictive band")


def test_no_voltage_no_curve_but_a_word(short: None) -> None:
    fit = make_fit()
    fit.constant["envelope"] = {
        "overall": {"speed_rpm": [100.0, 9000.0], "voltage_v": None, "current_a": None}
    }
    assert "No voltage was logged" in fit_page([fit])
    assert "at 12 V" in fit_page([fit], voltage_v=12.0)


def test_a_page_is_written_whole_or_not_at_all(
    short: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "report.html"
    assert write_fit_page(make_fit(), target) == target
    before = target.read_bytes()
    assert before.endswith(b"</html>\n")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ReportError, match=r"report\.html: cannot be written \(No space left on device\)"):
        write_fit_page(make_fit(3), target)
    assert target.read_bytes() == before
    assert list(tmp_path.iterdir()) == [target]


def test_a_folder_that_is_not_there_is_named(short: None, tmp_path: Path) -> None:
    with pytest.raises(ReportError, match="Name a file in a folder that exists"):
        write_fit_page(make_fit(), tmp_path / "nowhere" / "report.html")
    with pytest.raises(ReportError, match="no fit was given"):
        write_fit_page([], tmp_path / "report.html")
