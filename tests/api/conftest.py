"""A library of two stand-in motors, and a client of the service over it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from motorfit.archive.store import save_fit
from motorfit_api.app import create_app
from tests.archive.factory import StandInResult
from tests.cli.conftest import stand_in_posteriors

BASE = "http://127.0.0.1:8765"


@pytest.fixture
def library(tmp_path: Path) -> Path:
    result: Any = StandInResult(None, stand_in_posteriors())
    save_fit(tmp_path / "library", result)
    return tmp_path / "library"


@pytest.fixture
def client(library: Path) -> TestClient:
    return TestClient(create_app(library), BASE, raise_server_exceptions=False)
