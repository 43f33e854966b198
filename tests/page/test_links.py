"""Addresses at fault and questions refused: no other numbers in silence, told by the labels of the page."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import OpenTab, served

pytestmark = pytest.mark.slow

FAULTS = {
    "what-if?motor=tern-2807&voltage=abc": "The voltage of this address is “abc”; allowed are 2 to 120.",
    "what-if?motor=tern-2807&voltage=999": "The voltage of this address is “999”",
    "what-if?motor=tern-2807&voltage=15&throttle_pct=400": "“400”; allowed are 4 to 100.",
    "motor/%E0%A4%A": "the library holds no fit of it",
    "motor/nobody": "the library holds no fit of it",
    "job/none": "there is none of that id",
}


def test_an_address_at_fault_says_so_and_leads_on(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        for view, told in FAULTS.items():
            tab.visit(view, "That did not work")
            text = tab.page.locator("main").inner_text()
            assert told in text, view
            # Paths are for programs.
            assert "/v1/" not in text, view
        tab.page.get_by_role("link", name="the motors").click()
        tab.page.get_by_role("heading", level=1, name="Motors").wait_for()


def test_a_voltage_beyond_the_usual_is_shown_as_asked(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("what-if?motor=tern-2807&propeller=p7x35x3&voltage=52.5", "What if")
        tab.page.get_by_text("52.5 V lies outside").wait_for()
        assert tab.page.get_by_label("Voltage in V").input_value() == "52.5"


def test_what_is_refused_has_the_labels_of_the_page(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("what-if?motor=tern-2807&propeller=p7x35x3&cells=3&capacity_mah=1300", "What if")
        tab.page.locator("[data-curve=bus_voltage_v]").wait_for()
        tab.page.get_by_label("Capacity [mAh]").fill("1")
        tab.page.get_by_text("Capacity [mAh] should be greater than or equal to 10").wait_for()
        assert "body." not in tab.page.locator("main").inner_text()


def test_an_untested_propeller_is_not_called_tested(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("what-if?motor=tern-2807&propeller=7x4x3&voltage=15", "What if")
        tab.page.get_by_text("tested with other propellers, not with this one").wait_for()
        tab.visit("what-if?motor=tern-2807&propeller=p7x35x3&voltage=15", "What if")
        tab.page.get_by_text("tested with this propeller").wait_for()
