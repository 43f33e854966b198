"""How soon the page shows something, follows a slider, and copes with long logs; see benchmarks/README.md."""

from __future__ import annotations

import argparse
import json
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine, note
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

COMMAND = "import sys; from motorfit.cli import main; main()"
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync")
WAIT_MS = 300_000

# The frame after something first stands, and how long the longest task held the page up until then.
WATCH = """(() => {
  window.found = {};
  window.longest = 0;
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) window.longest = Math.max(window.longest, entry.duration);
  }).observe({ type: "longtask", buffered: true });
  const wanted = {
    names: "main .card h2", motors: "[data-motor]", numbers: ".readout dd", curves: ".plot .main-svg .trace",
  };
  const look = () => {
    for (const [name, place] of Object.entries(wanted)) {
      if (name in window.found || !document.querySelector(place)) continue;
      window.found[name] = null;
      requestAnimationFrame(() => setTimeout(() => { window.found[name] = performance.now(); }));
    }
  };
  new MutationObserver(look).observe(document, { childList: true, subtree: true });
})();"""

# One move at a time: from the event to the frame after the answer to it was drawn.
SLIDE = """async ([name, moves, first]) => {
  const slider = document.querySelector(`input[type=range][aria-label^="${name}"]`);
  const readout = document.querySelector(".readout");
  const took = [];
  for (let k = 0; k < moves; k += 1) {
    const before = readout.dataset.answered;
    slider.value = first + k * Number(slider.step);
    const begun = performance.now();
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    await new Promise((done) => {
      const watch = new MutationObserver(() => {
        if (readout.dataset.answered === before) return;
        watch.disconnect();
        done();
      });
      watch.observe(readout, { attributes: true });
    });
    await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
    took.push(performance.now() - begun);
    await new Promise((done) => setTimeout(done, 700));
  }
  return took;
}"""

# Frames while the page is scrolled from top to bottom.
SCROLL = """async () => {
  const gaps = [];
  let last = await new Promise(requestAnimationFrame);
  const end = document.documentElement.scrollHeight - window.innerHeight;
  for (let k = 0; k <= 60; k += 1) {
    window.scrollTo(0, (end * k) / 60);
    const now = await new Promise(requestAnimationFrame);
    gaps.push(now - last);
    last = now;
  }
  return gaps;
}"""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("library", type=Path, help="folder of fits, with one motor at least")
    parser.add_argument("--repeats", type=int, default=10)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    report: dict[str, Any] = {"machine": machine(), "ms": {}}
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium")
    if path is None:
        print("There is no chromium on this machine.", file=sys.stderr)
        return 1
    with (
        tempfile.TemporaryDirectory() as scratch,
        served(options.library) as base,
        sync_playwright() as driver,
    ):
        browser = driver.chromium.launch(executable_path=path, args=list(FLAGS))
        motors = json.loads(urllib.request.urlopen(f"{base}/v1/motors").read())["motors"]
        ms = report["ms"]
        print(f"chromium {browser.version}, load {report['machine']['load']}")
        for name, view, wanted in (
            ("names of the library", "", "names"),
            ("intervals of the library", "", "motors"),
            ("what if, numbers", f"what-if?motor={motors[0]['motor']}", "numbers"),
            ("what if, curves", f"what-if?motor={motors[0]['motor']}", "curves"),
            ("motor, curves", f"motor/{motors[0]['motor']}", "curves"),
        ):
            tell(ms, f"first {name}", [opened(browser, base, view, wanted) for _ in range(options.repeats)])
        for name in ("Throttle", "Voltage"):
            moves = slid(browser, base, motors[0]["motor"], name, 2 * options.repeats)
            tell(ms, f"slider to band, {name.lower()}", moves)
        long_logs(browser, base, Path(scratch), ms)
        browser.close()
    if options.json:
        options.json.write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")
    return 0


def tell(ms: dict[str, Any], name: str, values: list[float]) -> None:
    ms[name] = {"median": float(np.median(values)), "worst": max(values), "all": values}
    print(f"{name:44s} median {np.median(values):8.1f} ms   worst {max(values):8.1f} ms", flush=True)


@contextmanager
def served(library: Path) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    running = subprocess.Popen(
        [sys.executable, "-c", COMMAND, "serve", "--library", str(library), "--port", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    base = f"http://127.0.0.1:{port}"
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(f"{base}/healthz").close()
                break
            except OSError:
                time.sleep(0.1)
        yield base
    finally:
        running.terminate()
        running.wait(20)


def opened(browser: Any, base: str, view: str, wanted: str) -> float:
    """Time [ms] from the beginning of the navigation, in a browser that has nothing of the page yet."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.add_init_script(WATCH)
    page.goto(f"{base}/#/{view}")
    for _ in range(2000):
        found = page.evaluate("window.found")
        if found.get(wanted):
            break
        time.sleep(0.01)
    context.close()
    return float(found[wanted])


def slid(browser: Any, base: str, motor: str, name: str, moves: int) -> list[float]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(f"{base}/#/what-if?motor={motor}")
    page.locator(".readout[data-answered]").wait_for()
    page.wait_for_timeout(1500)
    # The first moves warm what every visitor warms once.
    page.evaluate(SLIDE, [name, 3, 8.0])
    took: list[float] = page.evaluate(SLIDE, [name, moves, 15.0])
    context.close()
    return took


def long_logs(browser: Any, base: str, scratch: Path, ms: dict[str, Any]) -> None:
    """A campaign whose logs are long: its preview in the form, and its check with curves."""
    note("Simulating long logs …")
    simulate_campaign(scratch, seed=3, options=BenchOptions(motors=1, propellers=1, sample_rate_hz=6000.0))
    (campaign,) = scratch.rglob("campaign.toml")
    logs = sorted(scratch.rglob("*.csv"))
    counts = {log.name: log.read_bytes().count(b"\n") - 1 for log in logs}
    longest = max(logs, key=lambda log: counts[log.name])
    print(f"logs of {min(counts.values())} to {max(counts.values())} samples")
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.add_init_script(WATCH)
    page.goto(f"{base}/#/campaign")
    page.locator("#content[data-ready]").wait_for()
    took = page.evaluate(
        "(async () => { const begun = performance.now(); await (await import('/page/plot.js')).library();"
        " return performance.now() - begun; })()"
    )
    tell(ms, "the script of plots fetched and run", [took])
    page.wait_for_timeout(500)
    page.evaluate("window.longest = 0")
    begun = time.perf_counter()
    page.get_by_label("Files of the campaign").set_input_files([longest])
    page.locator(".plot .main-svg .trace").first.wait_for()
    tell(ms, "preview of the longest log in the form", [1e3 * (time.perf_counter() - begun)])
    tell(ms, "  longest task of the page meanwhile", [page.evaluate("window.longest")])
    page.get_by_role("button", name=f"Remove {longest.name}").click()
    page.get_by_label("Files of the campaign").set_input_files([campaign, *logs])
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_role("button", name="Fit it").wait_for(timeout=WAIT_MS)
    page.reload()
    page.locator(".plot .main-svg .trace").first.wait_for()
    page.wait_for_load_state("networkidle")
    tell(ms, "checked curves after a reload", [page.evaluate("window.found.curves")])
    page.evaluate("for (const d of document.querySelectorAll('main details')) d.open = true")
    page.wait_for_timeout(3000)
    tell(ms, "  longest task, all runs unfolded", [page.evaluate("window.longest")])
    tell(ms, "  frames while it is scrolled", page.evaluate(SCROLL))
    context.close()


if __name__ == "__main__":
    raise SystemExit(main())
