"""The client says what the service says, and asks only for what the service's document lists."""

from __future__ import annotations

import inspect
import re
import threading
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

import motorfit_api.client as module
from motorfit_api.app import create_app
from motorfit_api.client import Client, JobFailedError, ServiceError
from motorfit_api.settings import Settings
from motorfit_api.worker import Worker
from tests.api.conftest import BASE
from tests.api.test_jobs import LOG, TABLE


@pytest.fixture
def caller(library: Path) -> Client:
    return Client(transport=TestClient(create_app(Settings.of(library)), BASE))


def test_every_path_of_the_client_is_in_the_document(client: TestClient) -> None:
    listed = {re.sub(r"\{\w+\}", "{}", path) for path in client.get("/v1/openapi.json").json()["paths"]}
    used = {
        re.sub(r"\{\w+\}", "{}", path) for path in re.findall(r'"(/v1/[^"?]*)"', inspect.getsource(module))
    }
    assert used
    assert used <= listed


def test_questions_are_answered(caller: Client, client: TestClient) -> None:
    assert [motor["motor"] for motor in caller.motors()] == ["gull-2306", "tern-2807"]
    shown = caller.motor("tern-2807")
    assert shown == client.get("/v1/motors/tern-2807").json()
    assert caller.motor("tern-2807") is shown
    (fit,) = caller.fits("tern-2807")
    assert len(caller.posterior(fit["fit"], 5, ["kv"])["parameters"]["kv"]["values"]) == 5
    assert caller.posterior(fit["fit"], 5, form="csv").startswith(b"draw,")
    assert [run["run"] for run in caller.runs(fit["fit"])["runs"]] == ["tern-ramp", "tern-table"]
    assert list(caller.propellers())
    asked = {"motor": "tern-2807", "propeller": "p7x35x3", "voltage": 22.2, "throttle": [0.5], "draws": 50}
    assert caller.predict(**asked) == client.post("/v1/predictions", json=asked).json()
    assert caller.step("tern-2807", "p7x35x3", 0.1, 0.5, voltage=22.2, draws=50)["from"] == 0.1
    assert caller.hover("tern-2807", "p7x35x3", 6, 1300.0, 900.0, draws=50)["motors"] == 4
    assert caller.compare(["tern-2807", "gull-2306"], metric=["kv"])["metrics"][0]["name"] == "kv"


def test_problems_are_exceptions(caller: Client) -> None:
    with pytest.raises(ServiceError, match=r"Not Found: motor 'none'") as caught:
        caller.motor("none")
    assert caught.value.status == 404


def test_a_check_by_the_client_and_a_fit_that_fails(caller: Client, library: Path, tmp_path: Path) -> None:
    worker = Worker(Settings.of(library), "w")
    thread = threading.Thread(target=worker.run)
    thread.start()
    try:
        (tmp_path / "campaign.toml").write_text(TABLE)
        (tmp_path / "ramp.csv").write_text(LOG)
        with caller:
            job = caller.check(tmp_path / "campaign.toml", [tmp_path / "ramp.csv"], key="k")
            assert (
                caller.check(tmp_path / "campaign.toml", [tmp_path / "ramp.csv"], key="k")["job"]
                == job["job"]
            )
            assert caller.wait(job["job"])["ok"] is True
            names = [name for _, name, _ in caller.events(job["job"])]
            assert names[-1] == "end"
            bad = caller.fit(tmp_path / "campaign.toml", [], method="fast")
            with pytest.raises(JobFailedError, match="Input at fault"):
                caller.wait(bad["job"])
    finally:
        worker.stopping.set()
        thread.join(30.0)
