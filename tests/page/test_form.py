"""A campaign written by form in a real browser, its draft over reloads, and what a bad one is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import FIT_MS, OpenTab

pytestmark = pytest.mark.slow


def test_a_bad_campaign_says_what_is_wrong_with_it(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    (tmp_path / "campaign.toml").write_text('format = 1\ntitel = "x"\n')
    tab = open_tab(service)
    tab.visit("campaign", "New campaign")
    tab.page.get_by_label("Files of the campaign").set_input_files(str(tmp_path / "campaign.toml"))
    tab.page.get_by_role("button", name="Check", exact=True).click()
    tab.page.locator("li.error").first.wait_for(timeout=FIT_MS)
    assert "titel" in tab.page.locator("main").inner_text()
    assert tab.page.get_by_role("button", name="Fit it").count() == 0


def test_a_log_that_was_not_sent_is_asked_for(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    (tmp_path / "campaign.toml").write_text(
        'format = 1\n[[motors]]\nid = "wren"\n[[runs]]\nid = "a"\nmotor = "wren"\n'
        'kind = "no-load"\nfile = "a.csv"\n'
    )
    tab = open_tab(service)
    tab.visit("campaign", "New campaign")
    tab.page.get_by_label("Files of the campaign").set_input_files(str(tmp_path / "campaign.toml"))
    tab.page.get_by_role("button", name="Check", exact=True).click()
    tab.page.locator("li.error").first.wait_for(timeout=FIT_MS)
    assert "is not among the files sent; drop it with the others" in tab.page.locator("main").inner_text()


def test_a_campaign_written_by_form(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    # Hostile names of file and column must stay text wherever they are shown, and in the file made.
    log = tmp_path / "<img src=x onerror=window.taken=1>.csv"
    rows = [
        f"{0.02 * k:.2f},{100 - k % 3},{9000 + k % 7},{11.1 + 0.01 * (k % 2):.2f},{800 + k % 5}"
        for k in range(200)
    ]
    log.write_text("\n".join(["t,throttle [%],rpm,voltage [V],<b>I</b>", *rows, ""]))
    tab = open_tab(service)
    page = tab.page
    tab.visit("campaign", "New campaign")
    page.get_by_label("Files of the campaign").set_input_files(str(log))
    page.get_by_role("button", name="Add a motor").click()
    page.get_by_label("Id of motor 1").fill("wren-1104")
    page.get_by_label("What was done").select_option("no-load")
    chosen = page.get_by_role("combobox", name="Motor", exact=True)
    chosen.focus()
    chosen.select_option("wren-1104")
    page.get_by_text("Columns (5)").click()
    page.get_by_label("Column of current", exact=True).select_option(label="<b>I</b>")
    page.get_by_label("Unit of current", exact=True).select_option("mA")
    page.locator("figure .main-svg, .plot .main-svg").first.wait_for()
    page.get_by_text("The campaign file this makes").click()
    made = page.get_by_label("Campaign file as the form says it").inner_text()
    assert 'motor = "wren-1104"' in made
    assert 'current = { column = "<b>I</b>", unit = "mA" }' in made
    page.wait_for_timeout(500)
    page.reload()
    page.get_by_label("Id of motor 1").wait_for()
    assert page.get_by_label("Id of motor 1").input_value() == "wren-1104"
    page.get_by_role("button", name="Check", exact=True).click()
    page.locator('[data-state="done"], [data-state="failed"]').wait_for(timeout=FIT_MS)
    assert page.evaluate("window.taken") is None
    assert page.locator("main img, main b").count() == 0
