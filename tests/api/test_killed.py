"""The service as processes: killed without warning, it loses nothing that it acknowledged."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from motorfit.archive.store import list_fits, load_fit, rebuild_catalogue
from tests.api.test_jobs import MEASURED

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks processes up in /proc")
COMMAND = "import sys; from motorfit.cli import main; main()"


def _children(pid: int, module: str) -> list[int]:
    """Return processes under one whose command names a module."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            parent = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
            if parent == pid and module.encode() in (entry / "cmdline").read_bytes().split(b"\0"):
                found.append(int(entry.name))
        except (OSError, ValueError, IndexError):
            continue
    return found


class Served:
    """A service of its own on a free port."""

    def __init__(self, library: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.library = library
        self.process = self._start()

    def _start(self) -> subprocess.Popen[bytes]:
        arguments = ["serve", "--library", str(self.library), "--port", str(self.port)]
        return subprocess.Popen([sys.executable, "-c", COMMAND, *arguments], stderr=subprocess.DEVNULL)

    def restart(self) -> None:
        self.process.kill()
        self.process.wait()
        self.process = self._start()

    def ask(self, path: str, body: bytes | None = None, **headers: str) -> dict[str, Any]:
        """Answer once the service does; a connection that broke is tried again, as a careful caller would."""
        url = path if path.startswith("http") else f"http://127.0.0.1:{self.port}{path}"
        horizon = time.monotonic() + 60.0
        while True:
            try:
                request = urllib.request.Request(
                    url, body, {k.replace("_", "-"): v for k, v in headers.items()}
                )
                with urllib.request.urlopen(request, timeout=20.0) as answer:
                    found: dict[str, Any] = json.load(answer)
                    return found
            except (OSError, http.client.HTTPException, ValueError):
                if time.monotonic() > horizon:
                    raise
                time.sleep(0.1)

    def upload(self, key: str, seed: int) -> dict[str, Any]:
        fields = {"method": "fast", "draws": "400", "seed": str(seed)}
        parts = [f'name="{name}"\r\n\r\n{value}' for name, value in fields.items()]
        parts.append(f'name="campaign"; filename="c.toml"\r\n\r\n{MEASURED}')
        body = "".join(f"--x\r\nContent-Disposition: form-data; {part}\r\n" for part in parts) + "--x--\r\n"
        return self.ask(
            "/v1/campaigns",
            body.encode(),
            Content_Type="multipart/form-data; boundary=x",
            Idempotency_Key=key,
        )

    def ended(self, job: str) -> dict[str, Any]:
        for _ in range(600):
            found = self.ask(f"/v1/jobs/{job}")
            if found["state"] in ("done", "failed"):
                return found
            time.sleep(0.1)
        pytest.fail(f"the job did not end: {found}")


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    service = Served(tmp_path / "library")
    yield service
    service.process.send_signal(signal.SIGINT)
    try:
        service.process.wait(20.0)
    except subprocess.TimeoutExpired:
        service.process.kill()


@pytest.mark.slow
def test_killing_server_worker_and_all_loses_nothing(served: Served) -> None:
    first = served.upload("a", 1)
    (server,) = _children(served.process.pid, "motorfit_api.process")
    os.kill(server, signal.SIGKILL)
    second = served.upload("b", 2)
    assert served.upload("a", 1)["job"] == first["job"]
    while served.ask(f"/v1/jobs/{first['job']}")["state"] == "queued":
        time.sleep(0.05)
    (worker,) = _children(served.process.pid, "motorfit_api.worker")
    (child,) = _children(worker, "motorfit.cli.job")
    os.kill(worker, signal.SIGKILL)
    done = served.ended(first["job"])
    assert (done["state"], done["attempts"]) == ("done", 2)
    assert not Path(f"/proc/{child}").exists() or "Z" in Path(f"/proc/{child}/stat").read_text()
    third = served.upload("c", 3)
    for _ in range(3):  # more often than a job is tried; the jobs are not to blame
        served.restart()
        while served.ask(f"/v1/jobs/{second['job']}")["state"] not in ("running", "done"):
            time.sleep(0.05)
    assert {served.ended(job["job"])["state"] for job in (second, third)} == {"done"}
    fits = list_fits(served.library)
    assert [fit.problem for fit in fits] == [None] * 3
    assert sorted(load_fit(served.library, f.motor, f.fit_id).attributes["seed"] for f in fits) == [1, 2, 3]
    assert rebuild_catalogue(served.library) == fits


@pytest.mark.slow
def test_a_job_that_dies_twice_is_reported_with_why(served: Served) -> None:
    job = served.upload("a", 1)["job"]
    for attempt in (1, 2):
        while (found := served.ask(f"/v1/jobs/{job}"))["attempts"] < attempt or found["state"] == "queued":
            time.sleep(0.05)
        (worker,) = _children(served.process.pid, "motorfit_api.worker")
        while not (children := _children(worker, "motorfit.cli.job")):
            time.sleep(0.02)
        os.kill(children[0], signal.SIGKILL)
        time.sleep(0.3)
    found = served.ended(job)
    assert found["state"] == "failed"
    assert "SIGKILL" in found["problem"]["detail"]
    assert list_fits(served.library) == ()
