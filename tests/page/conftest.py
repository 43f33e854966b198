"""A service on a port of its own, and a real browser before it; skipped loudly without one."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from motorfit.archive.store import save_fit
from motorfit_api.app import create_app
from tests.archive.factory import StandInResult
from tests.cli.conftest import stand_in_posteriors

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
WAIT_S = 20.0
WAIT_MS = 120_000
FIT_MS = 300_000


@dataclass
class Tab:
    """A page of the browser, with what went wrong in it."""

    page: Any
    base: str
    faults: list[str] = field(default_factory=list)

    def visit(self, view: str, heading: str) -> None:
        """Go to a view and wait until its heading stands."""
        # From an empty page, so that what stood there before is not taken for the view.
        self.page.goto("about:blank")
        self.page.goto(f"{self.base}/#/{view}")
        self.page.get_by_role("heading", level=1, name=heading).wait_for()
        # No string is run in the page to wait for it: the page's own policy refuses that.
        self.page.locator("#content[data-ready]").wait_for()


OpenTab = Callable[..., Tab]


@contextmanager
def served(library: Path) -> Iterator[str]:
    """Serve a library in a thread of this process."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(create_app(library), log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        begun = time.monotonic()
        while not server.started and time.monotonic() - begun < WAIT_S:
            time.sleep(0.02)
        try:
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(WAIT_S)


# Of one module, not of the session: while it runs, its own event loop does, which other rooms must not meet.
@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium on this machine; install it to test the page")
    with sync_api.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=path, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture
def service(tmp_path: Path) -> Iterator[str]:
    """Run the command itself, with a worker."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = Path(sys.executable).with_name("motorfit")
    options = ["serve", "--library", str(tmp_path / "fits"), "--port", str(port)]
    with (tmp_path / "log").open("wb") as log:
        running = subprocess.Popen([command, *options], stdout=log, stderr=log)
    base = f"http://127.0.0.1:{port}"
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{base}/healthz").close()
            break
        except urllib.error.URLError:
            time.sleep(0.1)
    yield base
    running.terminate()
    running.wait(20)


@pytest.fixture
def library(tmp_path: Path) -> Path:
    result: Any = StandInResult(None, stand_in_posteriors())
    save_fit(tmp_path / "library", result)
    return tmp_path / "library"


@pytest.fixture
def open_tab(browser: Any) -> Iterator[OpenTab]:
    tabs: list[Tab] = []

    def opened(base: str, width: int = 1200, look: str = "light") -> Tab:
        tab = Tab(browser.new_page(viewport={"width": width, "height": 900}, color_scheme=look), base)
        # The first prediction of a new installation compiles first, on a busy machine for a minute.
        tab.page.set_default_timeout(WAIT_MS)
        tab.page.on("pageerror", lambda error: tab.faults.append(str(error)))
        tab.page.on("dialog", lambda dialog: tab.faults.append(f"dialog: {dialog.message}"))
        tab.page.on(
            "request",
            lambda asked: (
                None if asked.url.startswith((base, "blob:", "data:")) else tab.faults.append(asked.url)
            ),
        )
        tabs.append(tab)
        return tab

    yield opened
    for tab in tabs:
        tab.page.context.close()
    assert [fault for tab in tabs for fault in tab.faults] == []
