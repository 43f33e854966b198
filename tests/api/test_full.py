"""A full disk, and callers that go away: one clear error, and nothing acknowledged is lost."""

from __future__ import annotations

import asyncio
import errno
import json
import os
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

import motorfit.cli.job as job_module
from motorfit.archive.errors import ArchiveError
from motorfit.archive.space import NO_SPACE, free_bytes, is_full
from motorfit_api.app import create_app
from motorfit_api.job import Job, QueueError
from motorfit_api.jobs import Queue, new_id
from motorfit_api.limits import Limits
from motorfit_api.settings import Settings
from motorfit_api.uploads import Uploads
from motorfit_api.worker import Worker
from tests.api.conftest import BASE
from tests.api.test_jobs import MEASURED

FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
UPLOAD = [("campaign", ("c.toml", MEASURED.encode()))]


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings.of(tmp_path / "library", limits=Limits(lease_seconds=5.0))


@pytest.fixture
def client(settings: Settings) -> TestClient:
    return TestClient(create_app(settings), BASE, raise_server_exceptions=False)


def _greedy(settings: Settings) -> Settings:
    """The same service on a disk with too little room."""
    return Settings.of(settings.library, limits=Limits(free_bytes=2**62))


def test_space_is_that_of_the_disk_of_what_is_yet_to_be_made(tmp_path: Path) -> None:
    free = os.statvfs(tmp_path).f_bavail * os.statvfs(tmp_path).f_frsize
    assert free_bytes(tmp_path / "a" / "b") == pytest.approx(free, rel=0.2)
    assert is_full(FULL)
    assert not is_full(OSError(errno.EACCES, "no"), tmp_path)
    try:
        raise ArchiveError("cannot be written") from FULL
    except ArchiveError as error:
        assert is_full(error)


def test_an_upload_without_room_is_refused_before_it_is_read(settings: Settings) -> None:
    client = TestClient(create_app(_greedy(settings)), BASE)
    refused = client.post("/v1/campaigns", files=UPLOAD)
    assert refused.status_code == 507
    assert refused.json()["title"] == "Insufficient Storage"
    assert int(refused.headers["retry-after"]) > 0
    assert not settings.state.exists()


def test_a_disk_that_fills_during_an_upload_is_told_as_such(
    client: TestClient, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def keep(*_: Any) -> str:
        (settings.state / "jobs").mkdir(parents=True, exist_ok=True)
        raise FULL

    monkeypatch.setattr(Uploads, "keep", keep)
    refused = client.post("/v1/campaigns", files=UPLOAD)
    assert (refused.status_code, refused.headers["content-type"]) == (507, "application/problem+json")
    assert client.get("/v1/jobs").json()["total"] == 0
    assert not list((settings.state / "jobs").iterdir())


def test_a_queue_that_cannot_be_used_is_no_fault_of_the_caller(
    client: TestClient, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    settings.state.mkdir(parents=True)
    (settings.state / "jobs.sqlite").write_bytes(b"no database" * 1000)
    refused = client.get("/v1/jobs")
    assert refused.status_code == 503
    assert str(settings.state) not in refused.text
    assert any(getattr(record, "error", "").startswith(str(settings.state)) for record in caplog.records)


def test_a_queue_is_read_where_nothing_can_be_written(settings: Settings) -> None:
    """What reading needs beside the file is there as long as one connection is."""
    queue = Queue(settings.state)
    queue.add(new_id(), "fit", "local", {}, "f", None, 10)
    assert queue.path.with_name("jobs.sqlite-shm").exists()


def test_a_job_waits_for_room_and_is_not_tried(client: TestClient, settings: Settings) -> None:
    path = client.post("/v1/campaigns", files=UPLOAD).headers["location"]
    worker = Worker(_greedy(settings), "w")
    worker.stopping.set()  # so that it does not wait
    assert not worker._step()
    job = client.get(path).json()
    assert (job["state"], job["attempts"]) == ("queued", 0)


@pytest.mark.parametrize("cause", [FULL, ArchiveError("library: cannot be written")])
def test_a_job_on_a_full_disk_says_so_by_its_exit_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cause: Exception
) -> None:
    def work(folder: Path, order: dict[str, Any]) -> dict[str, Any]:
        raise cause from FULL

    (tmp_path / "order.json").write_text(
        json.dumps({"kind": "fit", "library": str(tmp_path), "limits": {"memory_bytes": 2**40}})
    )
    monkeypatch.setattr(job_module, "_bind", lambda memory_bytes: None)
    monkeypatch.setattr(job_module, "_fit", work)
    assert job_module.main(tmp_path) == NO_SPACE
    assert not (tmp_path / "problem.json").exists()


def test_a_job_that_had_no_room_has_failed_with_that(client: TestClient, settings: Settings) -> None:
    path = client.post("/v1/campaigns", files=UPLOAD).headers["location"]
    worker = Worker(settings, "w")
    job = worker.queue.claim(worker.name, 60.0)
    assert job is not None
    (worker.uploads.folder(job.id) / "work").mkdir()
    worker._settle(job, worker.uploads.folder(job.id), NO_SPACE, "ended")
    found = client.get(path).json()
    assert (found["state"], found["problem"]["status"]) == ("failed", 507)
    assert not (worker.uploads.folder(job.id) / "work").exists()


def test_a_worker_that_could_not_write_gives_its_job_back_as_if_it_had_not_been_tried(
    client: TestClient, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = client.post("/v1/campaigns", files=UPLOAD).headers["location"]
    worker = Worker(settings, "w")
    tried = 0

    def do(job: Job) -> None:
        nonlocal tried
        tried += 1
        if tried == 5:
            worker.stopping.set()
        raise QueueError("disk I/O error") from sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(worker, "_do", do)
    monkeypatch.setattr("motorfit_api.worker._BREATH_S", 0.0)
    worker.run()
    assert tried == 5  # more often than a job is tried
    worker.queue.give_back("w", "its worker was killed")
    assert client.get(path).json()["state"] == "queued"


def test_an_upload_that_breaks_off_is_no_fault_and_leaves_nothing(
    settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    app = create_app(settings)
    head = b'--x\r\nContent-Disposition: form-data; name="campaign"; filename="c.toml"\r\n\r\n'
    told: list[Any] = []
    arriving = [
        {"type": "http.request", "body": head + MEASURED.encode()[:200], "more_body": True},
        {"type": "http.disconnect"},
    ]

    async def receive() -> Any:
        return arriving.pop(0)

    async def send(message: Any) -> None:
        told.append(message)

    kind = (b"content-type", b"multipart/form-data; boundary=x")
    scope = {
        "type": "http", "method": "POST", "path": "/v1/campaigns", "raw_path": b"/v1/campaigns",
        "query_string": b"", "root_path": "", "headers": [(b"host", b"127.0.0.1"), kind],
    }  # fmt: skip
    asyncio.run(app(scope, receive, send))
    assert told == []
    assert not [record for record in caplog.records if record.levelname == "ERROR"]
    assert not settings.state.exists() or not list(settings.state.rglob("upload"))
