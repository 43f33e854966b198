"""The keyboard alone: every control reached in order and seen when it has the focus; the whole way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

from .conftest import FIT_MS, OpenTab, served

pytestmark = pytest.mark.slow

# What has the focus: its name as read out, whether it shows it, and whether it is in sight.
FOCUS = """() => {
  const node = document.activeElement;
  if (!node || node === document.body) return null;
  const look = getComputedStyle(node);
  const place = node.getBoundingClientRect();
  const label = node.labels?.length ? node.labels[0].textContent : "";
  const down = place.top + Math.min(place.height / 2, 20);
  const middle = document.elementFromPoint(place.left + place.width / 2, down);
  return {
    name: (node.getAttribute("aria-label") || label || node.textContent || node.name || "").trim(),
    tag: node.tagName.toLowerCase(),
    shown: look.outlineStyle !== "none" && parseFloat(look.outlineWidth) >= 2,
    seen: node.contains(middle) || (middle && middle.contains(node)) || false,
  };
}"""
CONTROLS = (
    "[...document.querySelectorAll('a[href], button, input, select, summary, [tabindex=\"0\"]')]"
    ".filter((n) => n.checkVisibility() && !n.disabled).length"
)


def step(page: Any, key: str = "Tab") -> dict[str, Any] | None:
    """Press Tab; what has the focus then has to show it, in sight."""
    page.keyboard.press(key)
    focus: dict[str, Any] | None = page.evaluate(FOCUS)
    if focus is not None:
        assert focus["name"], f"a {focus['tag']} without a name"
        assert focus["shown"], f"the focus is not to be seen on {focus['name']}"
        assert focus["seen"], f"{focus['name']} has the focus, out of sight or covered"
    return focus


def tab_to(page: Any, name: str, most: int = 60) -> None:
    """Press Tab until a control whose name begins so has the focus."""
    passed = []
    for _ in range(most):
        focus = step(page)
        if focus is not None and focus["name"].startswith(name):
            return
        passed.append(focus["name"] if focus else None)
    raise AssertionError(f"{name} was not reached; passed {passed}")


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize(
    ("view", "heading"),
    [
        ("", "Motors"),
        ("motor/tern-2807", "tern-2807"),
        ("what-if?motor=tern-2807", "What if"),
        ("compare?motors=tern-2807&motors=gull-2306&propeller=p7x35x3&voltage=15&go=1", "Compare"),
        ("campaign", "New campaign"),
    ],
)
def test_every_control_is_reached_once(
    library: Path, open_tab: OpenTab, view: str, heading: str, width: int
) -> None:
    with served(library) as base:
        tab = open_tab(base, width)
        tab.visit(view, heading)
        tab.page.wait_for_load_state("networkidle")
        wanted = tab.page.evaluate(CONTROLS)
        first = step(tab.page)
        assert first is not None and first["name"] == "Skip to the content"
        reached = 1
        while step(tab.page) is not None and reached < wanted + 10:
            reached += 1
    assert reached == wanted


def test_the_skip_link_skips(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        tab_to(tab.page, "Skip to the content")
        tab.page.keyboard.press("Enter")
        focus = step(tab.page)
    assert focus is not None and focus["name"].startswith("Search")


def test_settings_close_with_escape(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        tab_to(tab.page, "Units and look")
        tab.page.keyboard.press("Enter")
        tab_to(tab.page, "Speed", 4)
        tab.page.keyboard.press("ArrowDown")
        tab.page.locator("[data-motor]").first.get_by_text("rad/s/V").wait_for()
        tab.page.keyboard.press("Escape")
        assert not tab.page.locator("#settings").is_visible()
        assert tab.page.evaluate(FOCUS)["name"] == "Units and look"


def test_from_files_to_a_prediction_by_keyboard(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    simulate_campaign(tmp_path / "day", seed=6, options=BenchOptions(motors=1, propellers=1))
    (campaign,) = (tmp_path / "day").rglob("*.toml")
    logs = sorted((tmp_path / "day").rglob("*.csv"))
    tab = open_tab(service)
    page = tab.page
    said = page.locator("#said")
    page.goto(service)
    page.locator("#content[data-ready]").wait_for()
    tab_to(page, "New campaign")
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="New campaign").wait_for()
    assert said.inner_text() == "New campaign"
    tab_to(page, "Files of the campaign")
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files([campaign, *logs])
    page.get_by_text("describes the campaign").wait_for()
    tab_to(page, "Check")
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Check").wait_for()
    page.get_by_role("button", name="Fit it").wait_for(timeout=FIT_MS)
    assert said.inner_text() == "Done."
    tab_to(page, "Fit it")
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1, name="Fit").wait_for()
    page.get_by_role("heading", level=2, name="Fitted").wait_for(timeout=FIT_MS)
    assert said.inner_text() == "Done."
    tab_to(page, "what if")
    page.keyboard.press("Enter")
    page.locator("[data-curve=thrust_n] dd").wait_for()
    before = page.locator("[data-curve=thrust_n] dd").inner_text()
    tab_to(page, "Throttle in %")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.locator(".readout[data-throttle='55']").wait_for()
    assert page.locator("[data-curve=thrust_n] dd").inner_text() != before
    page.wait_for_url(lambda url: "throttle_pct=55" in url)
