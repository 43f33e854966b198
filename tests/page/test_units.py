"""The reader's units wherever a number is shown, in drawings and sentences too; paper."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from .conftest import OpenTab, served

pytestmark = pytest.mark.slow

VIEWS = (
    ("", "Motors"),
    ("motor/tern-2807", "tern-2807"),
    ("what-if?motor=tern-2807&propeller=p7x35x3&voltage=28&max_rpm=10000", "What if"),
    (
        "compare?motors=tern-2807&motors=gull-2306&propeller=p7x35x3&voltage=28&go=1&w.max_thrust_n=1",
        "Compare",
    ),
)
NEWTON = r"\d N\b(?![·/])|\[N\]|\[N/|mN/"
OURS = {"force": "N", "length": "in", "speed": "rpm"}
OTHERS = {"force": "g", "length": "mm", "speed": "rad/s"}
TEXT = (
    "document.querySelectorAll('main details').forEach((d) => { d.open = true; }),"
    "document.querySelector('main').textContent"
)


def shown(tab: Any, view: str, heading: str, units: dict[str, str]) -> str:
    tab.page.add_init_script(
        f"if (location.protocol === 'http:') localStorage.setItem('motorfit-units', '{json.dumps(units)}')"
    )
    tab.visit(view, heading)
    tab.page.evaluate(TEXT)
    tab.page.wait_for_load_state("networkidle")
    if "what-if" in view:
        tab.page.locator(".cautions .warning").first.wait_for()
    if "compare" in view:
        tab.page.locator("[data-metric=score]").wait_for()
    text: str = tab.page.evaluate(TEXT)
    return text


@pytest.mark.parametrize(("view", "heading"), VIEWS)
def test_units_are_the_readers_everywhere(library: Path, open_tab: OpenTab, view: str, heading: str) -> None:
    with served(library) as base:
        ours = shown(open_tab(base), view, heading, OURS)
        others = shown(open_tab(base), view, heading, OTHERS)
    assert "rpm" in ours and not re.search(r"rad/s(?!\))", ours.replace("·s/rad", "").replace("s²/rad²", ""))
    assert "rad/s" in others and re.findall(r".{30}rpm.{10}", others) == []
    assert re.findall(f".{{20}}(?:{NEWTON}).{{10}}", others) == []


def test_a_throttle_is_in_per_cent(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        told = shown(tab, VIEWS[2][0], VIEWS[2][1], OURS)
        address = tab.page.url
    assert "throttle [%]" in told
    assert re.findall(r"hrottle \d+ to \d+\s%", told)
    assert re.findall(r"hrottle 0\.\d+|hrottle 1[. ]", told) == []
    assert "throttle_pct=50" in address


def test_a_propeller_of_the_form_in_millimetres(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        shown(tab, "campaign", "New campaign", OTHERS)
        tab.page.get_by_role("button", name="Add a propeller").click()
        tab.page.get_by_label("Diameter [mm]").fill("178")
        tab.page.get_by_label("Pitch [mm]").fill("89")
        made = tab.page.get_by_label("Campaign file as the form says it").text_content()
    assert made is not None and "diameter_mm = 178\npitch_mm = 89" in made
    assert "diameter_in" not in made


@pytest.mark.parametrize(("view", "heading"), VIEWS)
def test_paper_is_white_and_holds_it_all(
    library: Path, open_tab: OpenTab, view: str, heading: str, tmp_path: Path
) -> None:
    with served(library) as base:
        # The width of an A4 page between its margins, and a look that would be lost on it.
        tab = open_tab(base, 1280, "dark")
        shown(tab, view, heading, OURS)
        page = tab.page
        before = page.evaluate("document.querySelector('.plot .main-svg')?.clientWidth ?? null")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        page.emulate_media(media="print", color_scheme="dark")
        page.set_viewport_size({"width": 703, "height": 900})
        look = page.evaluate(
            """() => ({
              ink: getComputedStyle(document.body).color,
              ground: getComputedStyle(document.documentElement).backgroundColor,
              axes: [...document.querySelectorAll(".plot text")].map((n) => getComputedStyle(n).fill),
              buttons: [...document.querySelectorAll("button, nav a")]
                .filter((n) => n.checkVisibility()).length,
              over: [...document.querySelectorAll("main *")]
                .filter((n) => n.getBoundingClientRect().right > 704).map((n) => n.outerHTML.slice(0, 80)),
            })"""
        )
        page.emulate_media(media="screen", color_scheme="dark")
        page.set_viewport_size({"width": 1280, "height": 900})
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        after = page.evaluate("document.querySelector('.plot .main-svg')?.clientWidth ?? null")
        printed = page.pdf(format="A4")
    assert look["ink"] == "rgb(0, 0, 0)"
    assert look["ground"] == "rgb(255, 255, 255)"
    assert set(look["axes"]) <= {"rgb(0, 0, 0)"}
    assert look["buttons"] == 0
    assert look["over"] == []
    assert after == before
    assert printed.startswith(b"%PDF")
