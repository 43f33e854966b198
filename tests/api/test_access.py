"""Who may ask what."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from motorfit.errors import MotorfitError
from motorfit_api.app import create_app
from motorfit_api.settings import Settings
from motorfit_api.tokens import TokenStore
from tests.api.conftest import BASE

PUBLIC = "https://bench.example"


def _client(library: Path, base: str = BASE, **changes: object) -> TestClient:
    return TestClient(create_app(Settings.of(library, **changes)), base, raise_server_exceptions=False)


def _bearer(text: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {text}"}


def test_a_foreign_name_for_this_machine_is_refused(library: Path) -> None:
    answer = _client(library, "http://evil.example:8765").get("/v1/motors")
    assert answer.status_code == 421
    assert "motors" not in answer.json()


@pytest.mark.parametrize("name", ["localhost:8765", "127.0.0.1", "[::1]:8765"])
def test_the_names_of_this_machine_are_answered(library: Path, name: str) -> None:
    assert _client(library, f"http://{name}").get("/v1/motors").status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:3000"},
        {"Sec-Fetch-Site": "cross-site"},
    ],
)
def test_pages_of_other_origins_cannot_send(client: TestClient, headers: dict[str, str]) -> None:
    assert client.post("/v1/predictions", json={}, headers=headers).status_code == 403
    assert client.delete("/v1/jobs/x", headers=headers).status_code == 403


def test_the_own_page_can_send(client: TestClient) -> None:
    headers = {"Origin": BASE, "Sec-Fetch-Site": "same-origin"}
    assert client.post("/v1/predictions", json={}, headers=headers).status_code == 422


def test_no_response_opens_itself_to_other_origins(client: TestClient) -> None:
    answer = client.get("/v1/motors", headers={"Origin": "https://evil.example"})
    assert not [name for name in answer.headers if name.startswith("access-control")]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


def test_a_forwarded_request_is_not_local(library: Path) -> None:
    answer = _client(library).get("/v1/motors", headers={"X-Forwarded-For": "203.0.113.7"})
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Bearer")


def test_tokens_open_what_their_scope_says(library: Path) -> None:
    settings = Settings.of(library, allow_hosts=("bench.example",))
    store = TokenStore(settings.state)
    reading, token = store.create("read", "page")
    writing, _ = store.create("write", "bench")
    client = TestClient(create_app(settings), PUBLIC, raise_server_exceptions=False)
    assert client.get("/v1/motors").status_code == 401
    assert client.get("/v1/motors", headers=_bearer(reading[:-1] + "x")).status_code == 401
    assert client.get("/v1/motors", headers=_bearer(reading)).status_code == 200
    assert client.get("/metrics").status_code == 401
    assert client.get("/healthz").status_code == 200
    assert client.delete("/v1/jobs/none", headers=_bearer(reading)).status_code == 403
    assert client.delete("/v1/jobs/none", headers=_bearer(writing)).status_code == 404
    store.revoke(token.id)
    with pytest.raises(MotorfitError, match="there is none of that id"):
        store.revoke(token.id)
    fresh = TestClient(create_app(settings), PUBLIC)
    assert fresh.get("/v1/motors", headers=_bearer(reading)).status_code == 401


def test_anonymous_reading_does_not_open_writing(library: Path) -> None:
    client = _client(library, PUBLIC, host="0.0.0.0", anonymous_read=True)
    assert client.get("/v1/motors").status_code == 200
    assert client.post("/v1/campaigns").status_code == 401
    assert client.delete("/v1/jobs/none").status_code == 401


def test_a_token_can_be_asked_for_on_the_loopback_too(library: Path) -> None:
    assert _client(library, require_token=True).get("/v1/motors").status_code == 401


def test_only_hashes_are_kept_and_only_for_the_owner(tmp_path: Path) -> None:
    store = TokenStore(tmp_path)
    text, token = store.create("write", "bench")
    secret = text.rsplit("_", 1)[-1] if text.count("_") == 2 else text.split("_", 2)[2]
    assert secret.encode() not in store.path.read_bytes()
    assert stat.S_IMODE(store.path.stat().st_mode) == 0o600
    assert store.check(text) == token
    assert store.list() == (token,)
    assert store.check("") is None
    assert store.check(f"mf_{'0' * 12}_{'A' * 43}") is None


def test_a_body_that_is_too_large_is_refused(client: TestClient) -> None:
    answer = client.post(
        "/v1/predictions", content=b"[" * 300_000, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 413

    def parts() -> object:
        for _ in range(300):
            yield b" " * 1024

    answer = client.post("/v1/predictions", content=parts(), headers={"Content-Type": "application/json"})  # type: ignore[arg-type]
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"
