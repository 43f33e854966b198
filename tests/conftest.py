"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

# Timing on a shared two-core machine says nothing; examples are the same on every run.
settings.register_profile(
    "project", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=50
)
settings.load_profile("project")

REPOSITORY = Path(__file__).resolve().parent.parent


@pytest.fixture
def rng() -> np.random.Generator:
    """A generator of its own for each test."""
    return np.random.default_rng(20300102)


@pytest.fixture(scope="session")
def shared_folder() -> Path:
    """Logs outside the repository: $MOTORFIT_SHARED, else ../shared; skips loudly without them."""
    folder = Path(os.environ.get("MOTORFIT_SHARED", REPOSITORY.parent / "shared"))
    if not folder.is_dir():
        pytest.skip(f"no logs at {folder}; set MOTORFIT_SHARED to their folder")
    return folder
