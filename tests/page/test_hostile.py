"""Texts that would be markup, files that are no logs, and a reload while a fit runs."""

from __future__ import annotations

import json
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

from .conftest import FIT_MS, OpenTab

pytestmark = pytest.mark.slow

MARKUP = "<img src=x onerror=window.taken=1>"
SCRIPT = '\\"><script>window.taken=1</script>'
FOREIGN = "[...document.querySelectorAll('main img, main script, main b, main iframe')].length"


def day(folder: Path, **options: Any) -> tuple[Path, list[Path]]:
    simulate_campaign(folder, seed=8, options=BenchOptions(motors=1, propellers=1, **options))
    (campaign,) = folder.rglob("campaign.toml")
    return campaign, sorted(folder.rglob("*.csv"))


def send(page: Any, files: list[Path], button: str) -> None:
    page.get_by_label("Files of the campaign").set_input_files(files)
    page.get_by_role("button", name=button, exact=True).click()
    page.locator("[data-state]").wait_for()


def test_texts_stay_texts_from_check_to_motor(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    campaign, logs = day(tmp_path / "day", runs=("no-load", "ramp"))
    text = campaign.read_text()
    title = next(line for line in text.splitlines() if line.startswith("title"))
    bench = next(line for line in text.splitlines() if line.startswith("name"))
    text = text.replace(title, f'title = "{MARKUP}"').replace(bench, f'name = "{SCRIPT}"')
    assert MARKUP in text and "script" in text
    campaign.write_text(text)
    ramp = next(log for log in logs if "ramp" in log.name)
    lines = ramp.read_text().splitlines()
    # A cell that the check quotes in a finding.
    lines[900] = ",".join([*lines[900].split(",")[:-1], MARKUP])
    ramp.write_text("\n".join([*lines, ""]))
    tab = open_tab(service)
    page = tab.page
    tab.visit("campaign", "New campaign")
    send(page, [campaign, *logs], "Check")
    page.get_by_role("button", name="Fit it").wait_for(timeout=FIT_MS)
    page.get_by_role("heading", level=2, name=MARKUP).wait_for()
    assert MARKUP in page.get_by_role("list", name="Findings").inner_text()
    assert page.evaluate(FOREIGN) == 0
    page.get_by_role("button", name="Fit it").click()
    page.get_by_role("heading", level=2, name="Fitted").wait_for(timeout=FIT_MS)
    page.get_by_role("link", name="motor-1", exact=True).click()
    page.get_by_role("heading", level=1, name="motor-1").wait_for()
    page.locator(".plot .main-svg .trace").first.wait_for()
    told = page.locator("main").inner_text()
    assert MARKUP in told and "<script>window.taken=1</script>" in told
    tab.visit("", "Motors")
    assert MARKUP in page.locator("[data-motor]").inner_text()
    assert page.evaluate(FOREIGN) == 0
    assert page.evaluate("window.taken ?? null") is None


def test_a_reload_in_mid_fit_finds_the_same_job(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    campaign, logs = day(tmp_path / "day")
    tab = open_tab(service)
    page = tab.page
    tab.visit("campaign", "New campaign")
    send(page, [campaign, *logs], "Fit without a look")
    page.locator("[data-state=running]").wait_for(timeout=FIT_MS)
    place = page.url
    page.reload()
    page.locator("[data-state=running], [data-state=done]").wait_for()
    assert page.url == place
    # The draft is there too, and sending it again is no second job.
    again = open_tab(service)
    page.goto("about:blank")
    tab.visit("campaign", "New campaign")
    page.get_by_text("describes the campaign").wait_for()
    page.get_by_role("button", name="Fit without a look").click()
    page.locator("[data-state]").wait_for()
    assert page.url == place
    again.page.goto(place)
    page.get_by_role("heading", level=2, name="Fitted").wait_for(timeout=FIT_MS)
    again.page.get_by_role("heading", level=2, name="Fitted").wait_for(timeout=FIT_MS)
    jobs = json.loads(urllib.request.urlopen(f"{service}/v1/jobs").read())
    assert jobs["total"] == 1


def test_files_that_are_none_are_told_so(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    campaign, logs = day(tmp_path / "day", runs=("no-load",))
    good = campaign.read_text()
    cases = {
        "empty log": (good, b""),
        "binary log": (good, bytes(range(256)) * 40),
        "one line": (good, b"time [s],speed [rpm]\n"),
        "another table": (good, b"name,colour\nfir,green\nash,grey\n"),
        "no campaign": ("\x00\x01", logs[0].read_bytes()),
    }
    for name, (text, log) in cases.items():
        tab = open_tab(service)
        page = tab.page
        campaign.write_text(text)
        logs[0].write_bytes(log)
        tab.visit("campaign", "New campaign")
        page.get_by_label("Files of the campaign").set_input_files([campaign, *logs])
        page.get_by_role("button", name="Check", exact=True).click()
        # Refused at once, or told by the job.
        page.locator("li.error").first.wait_for(timeout=FIT_MS)
        told = page.locator("li.error").first.inner_text()
        assert len(told) > 20, name
        assert "Traceback" not in told and "undefined" not in told and "null" not in told, name
        assert page.get_by_role("button", name="Fit it").count() == 0, name
