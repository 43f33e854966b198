"""The service does what its own document says, also when asked what nobody would ask."""

from __future__ import annotations

import functools
import zlib
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, settings

from motorfit.archive.store import list_fits, save_fit
from motorfit_api.app import create_app
from motorfit_api.limits import Limits
from motorfit_api.settings import Settings
from tests.archive.factory import StandInResult
from tests.cli.conftest import stand_in_posteriors

HOST = {"Host": "127.0.0.1"}


@functools.cache
def _library() -> Path:
    import tempfile

    folder = Path(tempfile.mkdtemp()) / "library"
    result: Any = StandInResult(None, stand_in_posteriors())
    save_fit(folder, result)
    return folder


@functools.cache
def _app() -> Any:
    return create_app(Settings.of(_library(), limits=Limits(queued=10_000)))


@schemathesis.serializer("application/zip", "application/gzip")
def as_it_is(context: Any, value: Any) -> bytes:
    return bytes(value) if isinstance(value, (bytes, bytearray)) else str(value).encode()


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """What is compiled at its first use would otherwise look like a service that hangs."""
    client = TestClient(_app(), "http://127.0.0.1")
    fit = list_fits(_library(), "tern-2807")[0].fit_id
    assert client.get(f"/v1/fits/{fit}/runs").status_code == 200
    common = {"propeller": "p7x35x3", "voltage": 22.2}
    step = {"motor": "tern-2807", "from": 0.1, "to": 0.5}
    assert client.post("/v1/predictions", json={"motor": "tern-2807", **common}).status_code == 200
    assert client.post("/v1/transients", json=step | common).status_code == 200
    both = {"motors": ["tern-2807", "gull-2306"], **common}
    assert client.post("/v1/comparisons", json=both).status_code == 200


schema = schemathesis.openapi.from_asgi("/v1/openapi.json", _app(), headers=HOST)


@schema.parametrize()
@settings(
    max_examples=12,
    phases=(Phase.explicit, Phase.generate),
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
)
def test_every_path_answers_as_documented(case: Any) -> None:
    parameters = case.path_parameters or {}
    # Half of the cases ask for what there is, so that the answers themselves are compared with their shapes.
    if zlib.crc32(repr((case.query, case.body)).encode()) % 2 == 0:
        if "motor" in parameters:
            case.path_parameters["motor"] = "tern-2807"
        if "fit" in parameters:
            case.path_parameters["fit"] = list_fits(_library(), "tern-2807")[0].fit_id
    case.call_and_validate(headers=HOST)
