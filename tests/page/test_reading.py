"""Reading in a real browser: library, motor, what if, comparison; on a desk and on a phone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from .conftest import OpenTab, served

pytestmark = pytest.mark.slow

VIEWS = (
    ("", "Motors"),
    ("motor/tern-2807", "tern-2807"),
    ("what-if?motor=tern-2807", "What if"),
    ("compare?motors=tern-2807&motors=gull-2306&propeller=p7x35x3&voltage=15&go=1", "Compare"),
)


def wide(page: Any) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > window.innerWidth"))


def test_the_library_shows_and_finds_motors(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        cards = tab.page.locator("[data-motor]")
        assert sorted(card.get_attribute("data-motor") for card in cards.all()) == ["gull-2306", "tern-2807"]
        assert "rpm/V" in cards.first.inner_text()
        tab.page.get_by_label("Search motor").fill("gull")
        assert cards.count() == 1
        assert cards.first.get_attribute("data-motor") == "gull-2306"
        cards.first.get_by_role("link", name="gull-2306", exact=True).click()
        tab.page.get_by_role("heading", level=1, name="gull-2306").wait_for()


def test_an_empty_library_says_how_to_begin(tmp_path: Path, open_tab: OpenTab) -> None:
    with served(tmp_path / "none") as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        assert "motorfit demo" in tab.page.locator("main").inner_text()


def test_a_motor_shows_prior_and_posterior(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("motor/tern-2807", "tern-2807")
        assert tab.page.locator("table.bars rect.prior").count() > 3
        assert tab.page.locator("table.bars line.line").count() > 3
        assert "Diagnostics" in tab.page.locator("main").inner_text()


def test_curves_follow_the_slider_and_warn(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("what-if?motor=tern-2807&propeller=p7x35x3&voltage=15&throttle_pct=20", "What if")
        thrust = tab.page.locator("[data-curve=thrust_n] dd")
        thrust.wait_for()
        tab.page.locator(".plot .main-svg").first.wait_for()
        before = thrust.inner_text()
        tab.page.get_by_label("Throttle in %").fill("80")
        tab.page.locator(".readout[data-throttle='80']").wait_for()
        assert thrust.inner_text() != before
        tab.page.get_by_label("Voltage in V").fill("28")
        tab.page.locator(".notes .warning").first.wait_for()
        tab.page.wait_for_url(re.compile("voltage=28"))


def test_the_address_of_a_comparison_shows_it_again(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit(VIEWS[3][0], "Compare")
        metric = tab.page.locator("[data-metric=kv]")
        metric.wait_for()
        told = metric.inner_text()
        assert "tern-2807" in told and "%" in told
        tab.page.reload()
        metric.wait_for()
        assert metric.inner_text() == told


@pytest.mark.parametrize(("view", "heading"), VIEWS)
def test_a_phone_scrolls_one_way_only(library: Path, open_tab: OpenTab, view: str, heading: str) -> None:
    with served(library) as base:
        tab = open_tab(base, 390)
        tab.visit(view, heading)
        tab.page.wait_for_load_state("networkidle")
        assert not wide(tab.page)


def test_names_from_the_address_are_text(library: Path, open_tab: OpenTab) -> None:
    hostile = "%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E"
    with served(library) as base:
        tab = open_tab(base)
        tab.visit(f"motor/{hostile}", "That did not work")
        tab.visit(f"what-if?motor=tern-2807&propeller={hostile}", "That did not work")
        assert "D x P x blades" in tab.page.locator("main").inner_text()
        assert tab.page.locator("main img").count() == 0


def test_the_page_lets_nothing_else_run(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        policy = tab.page.request.get(f"{base}/").headers["content-security-policy"]
    assert "script-src 'self'" in policy
    assert "default-src 'none'" in policy
    assert "script-src 'self' " not in policy
    assert "unsafe-eval" not in policy


def test_numbers_of_another_question_do_not_stand_beside_an_error(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("what-if?motor=tern-2807&propeller=7x4x3&voltage=15", "What if")
        tab.page.locator("[data-curve=thrust_n] dd").wait_for()
        blades = tab.page.get_by_label("Blades")
        blades.fill("40")
        tab.page.locator(".cautions .error").wait_for()
        assert tab.page.locator("[data-curve=thrust_n]").count() == 0
        assert not tab.page.locator(".plot").first.is_visible()
        blades.fill("2")
        tab.page.locator("[data-curve=thrust_n] dd").wait_for()
        assert tab.page.locator(".cautions .error").count() == 0
        assert tab.page.locator(".plot .main-svg").first.is_visible()
