from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

import motorfit
from motorfit.answers.show import summarise
from motorfit.archive.store import list_fits, load_fit, save_fit
from motorfit_api.app import create_app
from motorfit_api.problems import MEDIA_TYPE
from tests.archive.factory import make_result

BASE = "http://127.0.0.1:8765"


@pytest.fixture
def library(tmp_path: Path) -> Path:
    save_fit(tmp_path / "library", make_result())
    return tmp_path / "library"


@pytest.fixture
def client(library: Path) -> TestClient:
    return TestClient(create_app(library), BASE, raise_server_exceptions=False)


def test_health(client: TestClient) -> None:
    assert client.get("/healthz").json() == {"status": "ok", "version": motorfit.__version__}
    client.app.state.service.readiness.ready = False  # type: ignore[attr-defined]
    starting = client.get("/healthz")
    assert (starting.status_code, starting.json()["status"]) == (503, "starting")


def test_motors(client: TestClient) -> None:
    answer = client.get("/v1/motors").json()
    assert [(entry["motor"], entry["fits"]) for entry in answer["motors"]] == [
        ("alder-2207", 1),
        ("birch-2806", 1),
    ]
    assert (answer["total"], answer["offset"]) == (2, 0)


def test_a_motor_reads_as_the_command_prints_it(client: TestClient, library: Path) -> None:
    assert client.get("/v1/motors/alder-2207").json() == summarise(load_fit(library, "alder-2207")).to_json()


def test_fits_of_a_motor(client: TestClient, library: Path) -> None:
    answer: dict[str, Any] = client.get("/v1/motors/birch-2806/fits").json()
    assert [fit["fit"] for fit in answer["fits"]] == [fit.fit_id for fit in list_fits(library, "birch-2806")]


def test_an_empty_library_answers(tmp_path: Path) -> None:
    client = TestClient(create_app(tmp_path / "none"), BASE)
    assert client.get("/v1/motors").json()["motors"] == []


@pytest.mark.parametrize(
    ("method", "path", "status", "title"),
    [
        ("GET", "/v1/motors/wren-1104", 404, "Not Found"),
        ("GET", "/v1/motors/wren-1104/fits", 404, "Not Found"),
        ("GET", "/v1/motors/..%2f..%2fetc", 404, "Not Found"),
        ("GET", "/v1/motors/.incoming", 404, "Not Found"),
        ("GET", "/v1/nothing", 404, "Not Found"),
        ("POST", "/v1/motors", 405, "Method Not Allowed"),
    ],
)
def test_errors_are_problem_details(
    client: TestClient, method: str, path: str, status: int, title: str
) -> None:
    answer = client.request(method, path)
    assert answer.status_code == status
    assert answer.headers["content-type"] == MEDIA_TYPE
    body = answer.json()
    assert (body["type"], body["title"], body["status"]) == ("about:blank", title, status)
    assert body["detail"]


def test_a_damaged_fit_is_a_problem_and_not_a_crash(client: TestClient, library: Path) -> None:
    (fit,) = list_fits(library, "alder-2207")
    fit.path.write_bytes(b"damaged")
    answer = client.get("/v1/motors/alder-2207")
    assert answer.status_code == 500
    assert "cannot be read" in answer.json()["detail"]
    assert str(library) not in answer.text
    assert client.get("/v1/motors/birch-2806").status_code == 200


@pytest.mark.parametrize("query", ["offset=0&offset=1", "limit=5&offset=1&limit=5"])
def test_a_parameter_given_twice_is_refused(client: TestClient, query: str) -> None:
    answer = client.get(f"/v1/motors?{query}")
    assert answer.status_code == 422
    assert "is given 2 times" in answer.json()["detail"]
