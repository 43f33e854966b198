"""Digits that the doubt leaves, priors in numbers beside their bars, axes without letters for thousands."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from .conftest import OpenTab, served

pytestmark = pytest.mark.slow


def test_digits_are_those_that_the_doubt_leaves(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        told = tab.page.evaluate(
            """async () => {
              const { digits } = await import("/page/units.js");
              return [[11792, 10252, 13119], [10252, 10252, 13119], [13732, 13649, 13814],
                [8.0231, 7.86, 8.19], [-0.00187, -0.00195, -0.00179], [1317, 1308, 1326], [0, 0, 0],
                [-0.02, -2.3, 2.2]]
                .map((v) => digits(...v));
            }"""
        )
    assert told == ["11800", "10300", "13730", "8.02", "−0.00187", "1317", "0", "0.0"]


def test_the_prior_is_told_in_numbers(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base, 390, "dark")
        tab.visit("motor/tern-2807", "tern-2807")
        main = tab.page.locator("main")
        assert re.search(r"before: \d+ … \d+", main.inner_text())
        # In a dark look what came of the runs is the paler one, so that no tone can name it.
        assert "Dark" not in main.inner_text() and "Pale" not in main.inner_text()
        assert tab.page.locator("th small sup").first.is_visible()
        assert "^" not in main.inner_text()


def test_axes_have_whole_numbers(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("what-if?motor=tern-2807&propeller=p7x35x3&voltage=15", "What if")
        ticks = tab.page.get_by_role("img", name="speed over throttle").locator(".ytick text")
        ticks.nth(1).wait_for()
        labels = ticks.all_text_contents()
    assert len(labels) > 2
    assert all(re.fullmatch(r"\d+", label) for label in labels), labels
