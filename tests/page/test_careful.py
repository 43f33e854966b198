"""What a careful reader would stumble over: units of sentences and links, cautions, marks, ranges, names."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from .conftest import FIT_MS, OpenTab, served

pytestmark = pytest.mark.slow


def test_numbers_of_sentences_have_the_unit_of_their_channel(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        told = tab.page.evaluate(
            """async () => {
              const { choose, interval, worded } = await import("/page/units.js");
              const texts = ["thrust stands at 9.546 (SI) for 504 samples",
                "Torque stays at its highest value, 0.134275 (SI), in 2264 samples",
                "speed is 104.71976 (SI) where the motor is fastest",
                "a number beyond 1e+15 (SI); taken as missing"];
              const ours = texts.map(worded);
              const times = interval({ median: 0.00212, low: 0.00201, high: 0.00223 }, "s", "delay_current");
              const heat = interval({ median: 51, low: 22, high: 139 }, "s", "body_time_constant");
              choose("force", "g");
              return { ours, grams: worded(texts[0]), heat: heat.unit,
                times: [times.middle, times.range, times.unit] };
            }"""
        )
    assert told["ours"] == [
        "thrust stands at 9.546 N for 504 samples",
        "Torque stays at its highest value, 0.1343 N·m, in 2264 samples",
        "speed is 1000 rpm where the motor is fastest",
        "a number beyond 1e+15; taken as missing",
    ]
    assert told["grams"] == "thrust stands at 973.4 g for 504 samples"
    assert told["times"] == ["2.12", "2.01 … 2.23", "ms"]
    assert told["heat"] == "s"


def test_a_link_names_its_units_and_leaves_the_readers_own(library: Path, open_tab: OpenTab) -> None:
    view = "compare?motors=tern-2807&motors=gull-2306&propeller=p7x35x3&voltage=15&w.max_thrust_n=2&go=1"
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit(f"{view}&units=g,mm,rad/s", "Compare")
        thrust = page.locator("[data-metric=max_thrust_n] .bars")
        thrust.wait_for()
        assert re.search(r"\d g\b", thrust.inner_text())
        assert "rad/s/V" in page.locator("[data-metric=kv]").inner_text()
        assert page.get_by_label("max thrust", exact=True).input_value() == "2"
        page.get_by_role("link", name="Motors", exact=True).click()
        page.locator("[data-motor]").first.wait_for()
        assert "rpm/V" in page.locator("[data-motor]").first.inner_text()
        # A choice made at such a link is the reader's, and the address says it.
        page.go_back()
        thrust.wait_for()
        page.get_by_text("Units and look").click()
        page.locator("[data-setting=force]").focus()
        page.locator("[data-setting=force]").select_option("N")
        page.wait_for_url(re.compile("units=N"))
        assert page.evaluate("document.activeElement.dataset.setting") == "force"
        thrust.filter(has_text=re.compile(r"\d N")).wait_for()
        page.get_by_role("button", name="Compare", exact=True).click()
        page.wait_for_url(re.compile(r"units=N%2Cmm%2Crad%2Fs"))


def test_cautions_of_the_throttle_chosen_stand_apart(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        heads: dict[int, Any] = {}
        for throttle in (10, 100):
            tab.visit(
                f"what-if?motor=tern-2807&propeller=p7x35x3&voltage=28&throttle_pct={throttle}", "What if"
            )
            cautions = tab.page.locator(".cautions")
            cautions.get_by_role("heading", level=2).wait_for()
            heads[throttle] = (
                cautions.get_by_role("heading", level=2).inner_text(),
                cautions.locator("h2 + .notes li").all_inner_texts(),
                cautions.locator("h3 + .notes li").all_inner_texts(),
            )
    for throttle, (head, here, elsewhere) in heads.items():
        said = "No caution" if not here else f"{len(here)} caution" + ("s" if len(here) > 1 else "")
        assert head == f"{said} at {throttle} % throttle"
        for text in (*here, *elsewhere):
            span = re.search(r"throttle (\d+)(?: to (\d+))? %", text)
            if span:
                low, high = int(span[1]), int(span[2] or span[1])
                assert (low <= throttle <= high) == (text in here), text
    assert heads[10][2], "nothing is cautioned at full throttle: the test sees nothing"
    assert heads[100][1]


def test_a_wide_band_does_not_press_the_log_flat(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        spans = tab.page.evaluate(
            """async () => {
              const { span } = await import("/page/motor-runs.js");
              return [span([0, 10, 2], { low: [-1, -500, 1], high: [1, 500, 3] }),
                span([0, 10, 2], { low: [-1, 9, 1], high: [1, 11, 3] }), span([null], { low: [], high: [] })];
            }"""
        )
    assert -7 < spans[0][0] < 0 and 10 < spans[0][1] < 17
    assert spans[1][0] < -1 and spans[1][1] > 11
    assert spans[2] is None


def test_numbers_over_marks_do_not_cover_each_other(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        placed = tab.page.evaluate(
            """async () => {
              const { numbered } = await import("/page/job-curves.js");
              const marks = [[5.4, 2], [5.5, 2], [5.6, 3], [9, 2]].map(([at, number]) => ({ at, number }));
              return numbered(marks, { time_s: [0, 10] });
            }"""
        )
    assert [(p["number"], p["level"]) for p in placed] == [(2, 0), (3, 1), (2, 0)]


def test_faults_of_a_form_have_its_names(service: str, tmp_path: Path, open_tab: OpenTab) -> None:
    log = tmp_path / "wren no-load.csv"
    rows = [f"{0.02 * k:.2f},100,9000,11.1,0.8" for k in range(50)]
    log.write_text("\n".join(["time [s],throttle [%],speed [rpm],voltage [V],current [A]", *rows, ""]))
    tab = open_tab(service, 390)
    page = tab.page
    tab.visit("campaign", "New campaign")
    page.get_by_label("Files of the campaign").set_input_files(str(log))
    page.get_by_role("button", name="Check", exact=True).click()
    page.locator("li.error").first.wait_for(timeout=FIT_MS)
    told = page.locator("main").inner_text()
    assert "run wren-no-load, motor Missing; it is required. Add motor to run wren-no-load." in told
    assert "motors Missing; allowed: one motor or more." in told
    assert "runs[0]" not in told
    page.reload()
    page.locator("li.error").first.wait_for()
    assert "runs[0]" not in page.locator("main").inner_text()
