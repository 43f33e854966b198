"""From files to a comparison in a real browser: check, fit, a reload in its midst; a file that is none."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from motorfit.synthetic.simulate import simulate_campaign

from .conftest import FIT_MS, OpenTab

pytestmark = pytest.mark.slow


def test_from_files_to_a_prediction(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    simulate_campaign(tmp_path / "day", seed=5)
    (campaign,) = (tmp_path / "day").rglob("*.toml")
    logs = sorted((tmp_path / "day").rglob("*.csv"))
    tab = open_tab(service, 390)
    tab.visit("campaign", "New campaign")
    tab.page.locator("input[type=file]").first.set_input_files([campaign, *logs])
    tab.page.get_by_role("button", name="Check", exact=True).click()
    tab.page.get_by_role("button", name="Fit it").click(timeout=FIT_MS)
    tab.page.get_by_role("heading", level=1, name="Fit").wait_for()
    job = tab.page.url
    tab.page.reload()
    assert tab.page.url == job
    tab.page.get_by_role("heading", level=2, name="Fitted").wait_for(timeout=FIT_MS)
    tab.page.locator("main").get_by_role("link", name="what if").first.click()
    tab.page.locator("[data-curve=thrust_n] dd").wait_for()
    tab.page.go_back()
    tab.page.get_by_role("link", name="Compare them").click()
    tab.page.wait_for_url(re.compile("#/compare"))
    tab.page.get_by_role("button", name="Compare", exact=True).click()
    tab.page.locator("[data-metric=kv] .bars tr").nth(1).wait_for()


def test_a_file_that_is_no_campaign_is_told_so(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    bad = tmp_path / "campaign.toml"
    bad.write_text("format = = 1\n")
    tab = open_tab(service)
    tab.visit("campaign", "New campaign")
    tab.page.locator("input[type=file]").first.set_input_files([bad])
    tab.page.get_by_role("button", name="Check", exact=True).click()
    tab.page.locator("li.error").first.wait_for(timeout=FIT_MS)
    assert tab.page.get_by_role("button", name="Fit it").count() == 0
