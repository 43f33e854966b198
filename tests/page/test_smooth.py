"""What keeps the page smooth: few points, few questions, one fetch of the script. Times are a benchmark's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from .conftest import OpenTab, served

pytestmark = pytest.mark.slow

ROWS = 50_000
SPIKE = 61_000.0
POINTS = "[...document.querySelectorAll('.plot')].flatMap((n) => (n.data ?? []).map((d) => d.x.length))"
WHAT_IF = "what-if?motor=tern-2807&propeller=p7x35x3&voltage=15&throttle_pct=20"


def long_log(path: Path) -> None:
    lines = ["time [s],throttle [%],speed [rpm],voltage [V],current [A]"]
    for k in range(ROWS):
        # One reading in the part that the preview sees stands out; thinning must not lose it.
        speed = SPIKE if k == 1234 else 9000 + k % 7
        lines.append(f"{0.001 * k:.3f},100,{speed},{11.1 + 0.01 * (k % 2):.2f},{0.8 + 0.001 * (k % 5):.3f}")
    path.write_text("\n".join([*lines, ""]))


def test_a_long_log_is_previewed_by_few_points(library: Path, tmp_path: Path, open_tab: OpenTab) -> None:
    long_log(tmp_path / "no-load.csv")
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("campaign", "New campaign")
        tab.page.get_by_label("Files of the campaign").set_input_files([tmp_path / "no-load.csv"])
        tab.page.locator(".plot .main-svg .trace").first.wait_for()
        points = tab.page.evaluate(POINTS)
        highest = tab.page.evaluate("Math.max(...document.querySelector('.plot').data[0].y)")
    assert len(points) == 1
    assert 400 <= points[0] <= 800
    assert highest == SPIKE


def test_a_slider_asks_one_question_at_a_time(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit(WHAT_IF, "What if")
        tab.page.locator(".readout[data-answered]").wait_for()
        tab.page.wait_for_load_state("networkidle")
        asked: list[dict[str, Any]] = []
        under_way: list[Any] = []
        most = [0]

        def begun(request: Any) -> None:
            if "/v1/predictions" in request.url:
                asked.append(request.post_data_json)
                under_way.append(request)
                most[0] = max(most[0], len(under_way))

        def ended(request: Any) -> None:
            if request in under_way:
                under_way.remove(request)

        tab.page.on("request", begun)
        tab.page.on("requestfinished", ended)
        tab.page.on("requestfailed", ended)
        tab.page.evaluate(
            """async () => {
              const slider = document.querySelector("input[aria-label^=Voltage]");
              for (let k = 1; k <= 60; k += 1) {
                slider.value = 8 + k / 10;
                slider.dispatchEvent(new Event("input", { bubbles: true }));
                await new Promise((done) => setTimeout(done, 5));
              }
              slider.dispatchEvent(new Event("change", { bubbles: true }));
            }"""
        )
        tab.page.wait_for_url(lambda url: "voltage=14" in url)
        tab.page.wait_for_load_state("networkidle")
    # All draws at the end, few on the way; what was passed over is not asked at all.
    assert asked[0]["draws"] == 600
    assert "draws" not in asked[-1]
    assert asked[-1]["voltage"] == 14
    assert 2 <= len(asked) < 60
    assert most[0] == 1


def test_a_move_gives_up_the_question_for_all_draws(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit(WHAT_IF, "What if")
        tab.page.locator(".readout[data-answered]").wait_for()
        tab.page.wait_for_load_state("networkidle")
        given_up: list[str] = []
        held: list[Any] = []

        def hold(route: Any) -> None:
            # An answer that takes its time.
            if not held and "draws" not in route.request.post_data_json:
                held.append(route)
            else:
                route.continue_()

        tab.page.on("requestfailed", lambda request: given_up.append(request.url))
        tab.page.route("**/v1/predictions", hold)
        tab.page.get_by_label("Voltage in V").fill("12")
        tab.page.locator(".readout[data-throttle='20']").wait_for()
        for _ in range(100):
            if held:
                break
            tab.page.wait_for_timeout(20)
        assert held, "all draws were never asked for"
        tab.page.get_by_label("Throttle in %").fill("70")
        tab.page.locator(".readout[data-throttle='70']").wait_for()
        tab.page.unroute_all(behavior="ignoreErrors")
    assert [url.rpartition("/")[2] for url in given_up] == ["predictions"]


def test_the_script_of_plots_is_kept(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        fetched: list[Any] = []
        tab.page.on("response", lambda got: fetched.append(got) if "/page/plot-" in got.url else None)
        tab.visit("", "Motors")
        tab.page.wait_for_load_state("networkidle")
        assert len(fetched) == 1, "it comes while the first view is read"
        headers = fetched[0].headers
        assert "immutable" in headers["cache-control"] and "max-age=31536000" in headers["cache-control"]
        assert headers["content-encoding"] == "gzip"
        # Named by what it holds: a service with another one names another.
        name = fetched[0].url.rpartition("/")[2]
        answer = tab.page.request.get(f"{base}/page/{name.replace('plot-', 'plot-0')}")
        assert answer.status == 404
        tab.page.get_by_role("link", name="What if", exact=True).click()
        tab.page.locator(".plot .main-svg .trace").first.wait_for()
        sizes = tab.page.evaluate(
            "performance.getEntriesByType('resource').filter((e) => e.name.includes('/page/plot-'))"
            ".map((e) => e.transferSize)"
        )
    assert len(sizes) == 2 and sizes[1] == 0, "the second time it is the browser's own copy"
