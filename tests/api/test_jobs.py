"""Uploads through the service: kept, worked on by a process of its own, told of while it goes."""

from __future__ import annotations

import io
import json
import threading
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from motorfit.archive.store import list_fits
from motorfit_api.app import create_app
from motorfit_api.limits import Limits
from motorfit_api.settings import Settings
from motorfit_api.worker import Worker
from tests.api.conftest import BASE
from tests.cli.conftest import CAMPAIGN

MEASURED = (
    CAMPAIGN[: CAMPAIGN.index("[[runs]]")]
    + """
[[measurements]]
motor = "tern-2807"
quantity = "winding_resistance"
value = 0.061
sd = 0.002
unit = "ohm"
"""
)
QUICK = {"method": "fast", "draws": "400"}
LOG = "throttle,voltage [V],current [A],speed [rpm],thrust [N]\n" + "\n".join(
    f"{t},22.2,{30 * t**3 + 0.5:.3f},{18000 * t:.0f},{14 * t**2:.3f}" for t in (0.2, 0.4, 0.6, 0.8, 1.0)
)
TABLE = CAMPAIGN.replace('"ramp"\nfile = "ramp.csv"', '"table"\nfile = "logs/ramp.csv"')


def _parts(toml: str, **logs: str) -> list[tuple[str, tuple[str, bytes]]]:
    named = [("logs", (f"{name}.csv", text.encode())) for name, text in logs.items()]
    return [("campaign", ("campaign.toml", toml.encode())), *named]


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    limits = Limits(lease_seconds=5.0, queued=3, job_seconds=60.0)
    return Settings.of(tmp_path / "library", limits=limits)


@pytest.fixture
def idle(settings: Settings) -> TestClient:
    """A client of a service without workers."""
    return TestClient(create_app(settings), BASE, raise_server_exceptions=False)


@pytest.fixture
def busy(settings: Settings, idle: TestClient) -> Iterator[TestClient]:
    """The same with one worker."""
    worker = Worker(settings, "w")
    thread = threading.Thread(target=worker.run)
    thread.start()
    yield idle
    worker.stopping.set()
    thread.join(30.0)


def _ended(client: TestClient, path: str, within_s: float = 90.0) -> dict[str, Any]:
    for _ in range(int(within_s / 0.1)):
        job: dict[str, Any] = client.get(path).json()
        if job["state"] in ("done", "failed", "cancelled"):
            return job
        time.sleep(0.1)
    pytest.fail(f"the job did not end: {job}")


def test_an_upload_becomes_a_fit_with_progress_told(busy: TestClient, settings: Settings) -> None:
    answer = busy.post("/v1/campaigns", files=_parts(MEASURED), data={"seed": "7", **QUICK})
    assert answer.status_code == 202
    path = answer.headers["location"]
    job = _ended(busy, path)
    assert job["problem"] is None
    (fit,) = list_fits(settings.library, "tern-2807")
    assert [one["fit"] for one in job["result"]["fits"]] == [fit.fit_id]
    assert job["result"]["motors"][0] == busy.get("/v1/motors/tern-2807").json()
    assert str(settings.library) not in json.dumps(job)
    told = busy.get(f"{path}/events").text
    names = [line.removeprefix("event: ") for line in told.splitlines() if line.startswith("event: ")]
    assert names[:2] == ["state", "state"]
    assert "progress" in names
    assert names[-1] == "end"
    numbers = [int(line.removeprefix("id: ")) for line in told.splitlines() if line.startswith("id: ")]
    assert numbers == sorted(numbers)
    rest = busy.get(f"{path}/events", headers={"Last-Event-ID": str(numbers[-2] - 1)}).text
    assert f"id: {numbers[0]}\n" not in rest
    assert rest.count("event: end") == 1
    assert busy.delete(path).status_code == 409


def test_a_check_tells_findings_and_curves_and_is_fitted_without_a_second_upload(busy: TestClient) -> None:
    answer = busy.post("/v1/checks", files=_parts(TABLE, ramp=LOG))
    path = answer.headers["location"]
    job = _ended(busy, path)
    assert job["result"]["ok"] is True
    assert set(job["result"]) >= {"findings", "assumptions", "teaches", "faults"}
    (run,) = busy.get(f"{path}/curves").json()["runs"]
    assert run["channels"]["thrust"]["value"] == pytest.approx([0.56, 2.24, 5.04, 8.96, 14.0])
    assert run["channels"]["thrust"]["time_s"] is None
    again = busy.post(f"{path}/fit?method=fast")
    assert again.status_code == 202
    assert busy.delete(again.headers["location"]).json()["cancelling"] in (True, False)
    assert _ended(busy, again.headers["location"])["state"] in ("cancelled", "done")


def test_faults_of_an_upload_are_told_without_a_path_of_this_machine(
    busy: TestClient, settings: Settings
) -> None:
    toml = TABLE.replace("mass_g", "mass_kg").replace("logs/ramp.csv", "logs/none.csv")
    checked = _ended(busy, busy.post("/v1/checks", files=_parts(toml)).headers["location"])
    assert checked["result"]["ok"] is False
    assert "motors[0].mass_kg" in [fault["path"] for fault in checked["result"]["faults"]]
    failed = _ended(busy, busy.post("/v1/campaigns", files=_parts(toml)).headers["location"])
    assert failed["state"] == "failed"
    assert failed["problem"]["status"] == 422
    assert failed["problem"]["faults"]
    outside = _parts(TABLE.replace("logs/ramp.csv", "/etc/passwd"))
    refused = _ended(busy, busy.post("/v1/campaigns", files=outside).headers["location"])
    assert "a path inside the upload" in refused["problem"]["detail"]
    for job in (checked, failed, refused):
        assert str(settings.state) not in json.dumps(job)


def test_a_run_is_left_out_and_predicted(busy: TestClient) -> None:
    second = TABLE[TABLE.index("[[runs]]") :].replace('"ramp"', '"again"').replace("ramp.csv", "again.csv")
    files = _parts(f"{TABLE}\n{second}", ramp=LOG, again=LOG.replace("22.2", "22.1"))
    assert busy.post("/v1/holdouts", files=files).status_code == 409
    answer = busy.post("/v1/holdouts", files=files, data={"run": "again", **QUICK})
    job = _ended(busy, answer.headers["location"])
    assert job["problem"] is None
    assert "again" in json.dumps(job["result"])


def test_an_archive_as_the_body(busy: TestClient) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("day/campaign.toml", TABLE)
        archive.writestr("day/logs/ramp.csv", LOG)
    answer = busy.post("/v1/checks", content=out.getvalue(), headers={"Content-Type": "application/zip"})
    assert answer.status_code == 202
    assert _ended(busy, answer.headers["location"])["result"]["ok"] is True


def test_a_log_that_needs_too_much_memory_fails_alone(settings: Settings, tmp_path: Path) -> None:
    import gzip
    from dataclasses import replace

    # 1.2 GB of zeros in a megabyte; the process may have less than that.
    bomb = gzip.compress(b"0" * 300_000_000, 1) * 4
    small = replace(settings, limits=replace(settings.limits, job_bytes=1_000_000_000))
    client = TestClient(create_app(small), BASE)
    files = _parts(TABLE.replace("ramp.csv", "ramp.csv.gz"))
    path = client.post("/v1/checks", files=[*files, ("logs", ("ramp.csv.gz", bomb))]).headers["location"]
    worker = Worker(small, "w")
    job = worker.queue.claim(worker.name, 60.0)
    assert job is not None
    worker._do(job)
    ended = client.get(path).json()
    assert ended["state"] == "failed"
    assert "memory" in ended["problem"]["detail"]


def test_a_repeat_with_the_same_key_is_the_same_job(idle: TestClient) -> None:
    key = {"Idempotency-Key": "8c1f"}
    first = idle.post("/v1/campaigns", files=_parts(MEASURED), headers=key)
    again = idle.post("/v1/campaigns", files=_parts(MEASURED), headers=key)
    assert again.headers["location"] == first.headers["location"]
    assert idle.get("/v1/jobs").json()["total"] == 1
    other = idle.post("/v1/campaigns", files=_parts(TABLE), headers=key)
    assert other.status_code == 409
    assert (
        idle.post("/v1/checks", files=_parts(MEASURED), headers=key).headers["location"]
        != first.headers["location"]
    )


def test_a_full_queue_says_when_to_come_back(idle: TestClient, settings: Settings) -> None:
    for number in range(3):
        kept = idle.post("/v1/checks", files=_parts(MEASURED), headers={"Idempotency-Key": str(number)})
        assert kept.status_code == 202
    refused = idle.post("/v1/checks", files=_parts(MEASURED))
    assert refused.status_code == 503
    assert int(refused.headers["retry-after"]) > 0
    assert (
        idle.post("/v1/checks", files=_parts(MEASURED), headers={"Idempotency-Key": "0"}).status_code == 202
    )
    assert len(list((settings.state / "jobs").iterdir())) == 3
    assert 'motorfit_jobs{state="queued"} 3.0' in idle.get("/metrics").text


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"files": [("logs", ("a.csv", b"1"))]}, 422),
        ({"files": [*_parts(MEASURED), ("archive", ("a.zip", b"1"))]}, 422),
        ({"files": [*_parts(MEASURED), ("other", ("a.zip", b"1"))]}, 422),
        ({"files": _parts(MEASURED), "data": {"draws": "7"}}, 422),
        ({"files": _parts(MEASURED), "data": {"drawz": "700"}}, 422),
        ({"json": {}}, 415),
        ({"content": b"--x\r\n", "headers": {"Content-Type": "multipart/form-data; boundary=x"}}, 422),
        ({"content": b"--x\r\n", "headers": {"Content-Type": "multipart/form-data"}}, 400),
        ({"files": _parts(MEASURED), "headers": {"Idempotency-Key": "a b"}}, 422),
    ],
)
def test_uploads_at_fault_are_refused_and_leave_nothing(
    idle: TestClient, settings: Settings, change: dict[str, Any], status: int
) -> None:
    answer = idle.post("/v1/campaigns", **change)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert not (settings.state / "jobs").exists() or not list((settings.state / "jobs").iterdir())


def test_jobs_that_wait_are_cancelled_at_once(idle: TestClient) -> None:
    path = idle.post("/v1/checks", files=_parts(MEASURED)).headers["location"]
    assert idle.delete(path).json()["state"] == "cancelled"
    assert idle.delete(path).json()["state"] == "cancelled"
    assert "event: end" in idle.get(f"{path}/events").text
    assert idle.get("/v1/jobs/none").status_code == 404
    assert idle.get("/v1/jobs/none/events").status_code == 404


def test_a_fit_stored_before_its_worker_was_killed_is_not_made_twice(
    busy: TestClient, settings: Settings
) -> None:
    path = busy.post("/v1/campaigns", files=_parts(MEASURED), data=QUICK).headers["location"]
    _ended(busy, path)
    before = list_fits(settings.library)
    job = path.rsplit("/", 1)[1]
    from motorfit.cli.job import main

    # As the second attempt finds it: the fit is there, and what was uploaded too.
    second = busy.post("/v1/campaigns", files=_parts(MEASURED), data={"seed": "1", **QUICK})
    _ended(busy, second.headers["location"])
    assert len(list_fits(settings.library)) == len(before) + 1
    folder = settings.state / "jobs" / job
    (folder / "upload").mkdir(exist_ok=True)
    (folder / "upload" / "0000").write_bytes(MEASURED.encode())
    (folder / "upload.json").write_text('[{"file": "0000", "part": "campaign", "name": "campaign.toml"}]')
    order = json.loads((folder / "order.json").read_text())
    (folder / "order.json").write_text(json.dumps(order | {"attempt": 2}))
    (folder / "result.json").unlink(missing_ok=True)
    import motorfit.cli.job as module

    bind, module._bind = module._bind, lambda memory_bytes: None
    try:
        assert main(folder) == 0
    finally:
        module._bind = bind
    result = json.loads((folder / "result.json").read_text())
    assert [fit["fit"] for fit in result["fits"]] == [fit.fit_id for fit in before]
