"""A reader who goes on after an action: the focus stays where it was, or goes to what came of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from .conftest import OpenTab, served
from .test_keyboard import step, tab_to

pytestmark = pytest.mark.slow

LABEL = """() => {
  const node = document.activeElement;
  return node.getAttribute("aria-label") ?? node.labels?.[0]?.firstChild.textContent ?? node.textContent;
}"""


def log_at(folder: Path, name: str) -> str:
    rows = [f"{0.02 * k:.2f},100,9000,11.1,0.8" for k in range(60)]
    path = folder / name
    path.write_text("\n".join(["time [s],throttle [%],speed [rpm],voltage [V],current [A]", *rows, ""]))
    return str(path)


def focused(page: Any) -> str:
    name: str = page.evaluate(LABEL)
    return name


def test_what_is_added_has_the_focus(library: Path, tmp_path: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit("campaign", "New campaign")
        files = [log_at(tmp_path, "a-ramp.csv"), log_at(tmp_path, "b-hold.csv")]
        page.get_by_label("Files of the campaign").set_input_files(files)
        page.get_by_text("Columns (5)").first.click()
        add = page.get_by_role("button", name="Add a motor")
        for number in (1, 2):
            add.focus()
            page.keyboard.press("Enter")
            assert focused(page) == f"Id of motor {number}"
            page.keyboard.type(f"wren-{number}")
        # What was unfolded stays so, and what was typed.
        assert page.get_by_label("Column of current", exact=True).first.is_visible()
        page.get_by_role("button", name="Remove motor 1").focus()
        page.keyboard.press("Enter")
        assert page.get_by_label("Id of motor 1").input_value() == "wren-2"
        assert focused(page) == "Remove motor 1"
        page.keyboard.press("Enter")
        assert focused(page) == "Add a motor"
        page.get_by_role("button", name="Remove a-ramp.csv").focus()
        page.keyboard.press("Enter")
        assert focused(page) == "Remove b-hold.csv"
        page.keyboard.press("Enter")
        assert focused(page) == "Files of the campaign"


def test_a_comparison_asked_for_is_read_on_from_its_answer(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit("compare?motors=tern-2807&motors=gull-2306", "Compare")
        tab_to(page, "Compare", 6)
        page.get_by_role("button", name="Compare", exact=True).focus()
        page.keyboard.press("Enter")
        page.locator("[data-metric=kv]").wait_for()
        page.locator("#content[data-ready='2']").wait_for()
        assert "tern-2807" in focused(page)
        assert page.evaluate("document.activeElement.tagName") == "H2"
        after = step(page)
        assert after is not None and page.evaluate("document.activeElement.closest('form')") is None
        # A link that is opened leaves the focus at the top.
        page.reload()
        page.locator("[data-metric=kv]").wait_for()
        page.locator("#content[data-ready='1']").wait_for()
        assert page.evaluate("document.activeElement === document.body")


def test_a_voltage_that_is_missing_is_asked_for(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit("compare?motors=tern-2807", "Compare")
        page.get_by_label("Voltage [V]").fill("")
        page.get_by_role("button", name="Compare", exact=True).click()
        page.get_by_text("Give a voltage above 0").wait_for()
        assert focused(page) == "Voltage [V]"
        assert "go=1" not in page.url


def test_another_motor_keeps_the_focus_on_its_choice(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit("what-if?motor=gull-2306", "What if: gull-2306")
        page.get_by_role("combobox", name="Motor", exact=True).focus()
        page.keyboard.press("ArrowDown")
        page.get_by_role("heading", level=1, name="What if: tern-2807").wait_for()
        page.locator("#content[data-ready='2']").wait_for()
        assert focused(page) == "Motor"
        page.keyboard.press("ArrowUp")
        page.get_by_role("heading", level=1, name="What if: gull-2306").wait_for()


def test_what_is_entered_outlives_a_change_of_units(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit("compare", "Compare")
        page.get_by_label("gull-2306").check()
        page.get_by_label("Voltage [V]").fill("13.3")
        page.get_by_text("Units and look").click()
        page.locator("[data-setting=force]").select_option("g")
        page.locator("#content[data-ready='2']").wait_for()
        assert page.get_by_label("gull-2306").is_checked()
        assert not page.get_by_label("tern-2807").is_checked()
        assert page.get_by_label("Voltage [V]").input_value() == "13.3"
        page.get_by_role("button", name="Compare", exact=True).click()
        page.wait_for_url(lambda url: "voltage=13.3" in url and "gull-2306" in url)
        page.locator("[data-metric=max_thrust_n]").get_by_text(" g", exact=False).first.wait_for()
