"""Findings of a check on the curves where they occur, with faults seeded into simulated logs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

from .axe import grave, unfold
from .conftest import FIT_MS, OpenTab

pytestmark = pytest.mark.slow

CODE_LINES = (1502, 1900)
GAP_S = (2.0, 2.4)


def seed_faults(folder: Path) -> tuple[Path, list[Path], tuple[float, ...]]:
    """Write a day of two runs: a ramp with codes for a fault in its current, steps with a hole in time.

    Returns the campaign file, the logs, and the times [s from the first row] of the codes.
    """
    simulate_campaign(folder, seed=4, options=BenchOptions(motors=1, propellers=1, runs=("ramp", "steps")))
    logs = sorted(folder.rglob("*.csv"))
    (ramp,) = (log for log in logs if "ramp" in log.name)
    (steps,) = (log for log in logs if "steps" in log.name)
    lines = ramp.read_text().splitlines()
    column = lines[0].split(",").index("current [A]")
    times = []
    for number in CODE_LINES:
        cells = lines[number - 1].split(",")
        cells[column] = "255.000"
        times.append(float(cells[0]) - float(lines[1].split(",")[0]))
        lines[number - 1] = ",".join(cells)
    ramp.write_text("\n".join([*lines, ""]))
    head, *rows = steps.read_text().splitlines()
    begun = float(rows[0].split(",")[0])
    kept = [row for row in rows if not GAP_S[0] < float(row.split(",")[0]) - begun < GAP_S[1]]
    steps.write_text("\n".join([head, *kept, ""]))
    (campaign,) = folder.rglob("campaign.toml")
    return campaign, logs, tuple(times)


def plot_of(page: Any, run: str, channel: str) -> Any:
    place = f"details[data-run*='{run}'] figure[data-channel={channel}] .plot"
    return page.evaluate(
        """(place) => {
          const node = document.querySelector(place);
          return { shapes: (node.layout.shapes ?? []).map((s) => [s.x0, s.x1]),
            labels: (node.layout.annotations ?? []).map((a) => a.text),
            x: node.data[0].x, y: node.data[0].y };
        }""",
        place,
    )


def test_findings_are_marked_where_they_occur(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    campaign, logs, code_times = seed_faults(tmp_path / "day")
    tab = open_tab(service)
    page = tab.page
    tab.visit("campaign", "New campaign")
    page.get_by_label("Files of the campaign").set_input_files([campaign, *logs])
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_role("button", name="Fit it").wait_for(timeout=FIT_MS)
    found = page.get_by_role("list", name="Findings").get_by_role("listitem")
    texts = found.all_inner_texts()
    code = next(k for k, text in enumerate(texts) if "fault code" in text and "current" in text)
    gap = next(k for k, text in enumerate(texts) if "gap" in text and "steps" in text)
    assert texts[code].startswith(f"{code + 1} ·")
    assert all(str(line) in texts[code] for line in CODE_LINES)

    found.nth(gap).get_by_role("button", name="on its curve").click()
    assert page.evaluate("document.activeElement.dataset.run").endswith("steps-prop-a")
    found.nth(code).get_by_role("button", name="on its curve").click()
    assert page.evaluate("document.activeElement.dataset.channel") == "current"
    page.wait_for_load_state("networkidle")
    page.locator("details[data-run*=steps] figure[data-channel=torque] .main-svg .trace").wait_for()

    drawn = plot_of(page, "ramp", "current")
    assert str(code + 1) in drawn["labels"]
    middles = np.array([np.mean(span) for span in drawn["shapes"]])
    for time in code_times:
        assert np.min(np.abs(middles - time)) < 0.05
    # A channel without a finding of its own is left as it is.
    assert plot_of(page, "ramp", "voltage")["shapes"] == []
    torn = plot_of(page, "steps", "torque")
    assert any(abs(a - GAP_S[0]) < 0.02 and abs(b - GAP_S[1]) < 0.02 for a, b in torn["shapes"])
    holes = [x for x, y in zip(torn["x"], torn["y"], strict=True) if y is None]
    assert any(abs(x - GAP_S[0]) < 0.02 for x in holes), "the line goes on over the gap"

    for width, look in ((390, "dark"), (1280, "light")):
        other = open_tab(service, width, look).page
        other.goto(page.url)
        other.locator("#content[data-ready]").wait_for()
        other.get_by_role("list", name="Findings").wait_for()
        unfold(other)
        assert grave(other) == []
        assert not other.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_a_log_whose_clock_starts_over_is_drawn_by_its_lines(
    service: str, tmp_path: Path, open_tab: OpenTab
) -> None:
    options = BenchOptions(motors=1, propellers=1, runs=("no-load", "ramp"))
    simulate_campaign(tmp_path / "day", seed=9, options=options)
    (campaign,) = (tmp_path / "day").rglob("campaign.toml")
    logs = sorted((tmp_path / "day").rglob("*.csv"))
    (bare,) = (log for log in logs if "no-load" in log.name)
    (ramp,) = (log for log in logs if "ramp" in log.name)
    head, *rows = bare.read_text().splitlines()
    bare.write_text("\n".join([head, *rows, *rows, ""]))
    # A stamp twice is a finding of the clock, and marked on all channels.
    lines = ramp.read_text().splitlines()
    lines[1000] = ",".join([lines[999].split(",")[0], *lines[1000].split(",")[1:]])
    ramp.write_text("\n".join([*lines, ""]))
    tab = open_tab(service)
    page = tab.page
    tab.visit("campaign", "New campaign")
    page.get_by_label("Files of the campaign").set_input_files([campaign, *logs])
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text("It cannot be fitted before its errors are mended.").wait_for(timeout=FIT_MS)
    assert page.get_by_role("button", name="Fit it").count() == 0
    # The run of the gravest finding is open at once.
    page.locator("details[data-run*=no-load][open] .main-svg .trace").first.wait_for()
    drawn = plot_of(page, "no-load", "speed")
    assert drawn["shapes"] == [[len(rows) + 2, len(rows) + 2]]
    assert drawn["labels"] == ["1"]
    assert drawn["x"][-1] > 2 * len(rows)
    found = page.get_by_role("list", name="Findings").get_by_role("listitem")
    twice = next(k for k, text in enumerate(found.all_inner_texts()) if "repeated stamps" in text)
    found.nth(twice).get_by_role("button", name="on its curve").click()
    page.locator("details[data-run*=ramp] figure[data-channel=torque] .main-svg .trace").wait_for()
    for channel in ("speed", "torque"):
        assert str(twice + 1) in plot_of(page, "ramp", channel)["labels"]


def test_a_log_that_is_none_has_no_curve_to_lead_to(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    options = BenchOptions(motors=1, propellers=1, runs=("no-load", "ramp"))
    simulate_campaign(tmp_path / "day", seed=9, options=options)
    (campaign,) = (tmp_path / "day").rglob("campaign.toml")
    logs = sorted((tmp_path / "day").rglob("*.csv"))
    next(log for log in logs if "no-load" in log.name).write_bytes(bytes(range(256)) * 40)
    tab = open_tab(service)
    page = tab.page
    tab.visit("campaign", "New campaign")
    page.get_by_label("Files of the campaign").set_input_files([campaign, *logs])
    page.get_by_role("button", name="Check", exact=True).click()
    page.locator("details[data-run*=ramp] .main-svg .trace").first.wait_for(timeout=FIT_MS)
    buttons = page.locator("[data-leads*=no-load]")
    assert buttons.count() > 0
    assert [button.is_visible() for button in buttons.all()] == [False] * buttons.count()
