"""Running a command in this process, and a library with two motors in it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from motorfit.archive import store
from motorfit.cli import main
from tests.answers.standin import make_fit
from tests.archive.factory import StandInPosterior, StandInResult


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Return a function that runs `motorfit` with arguments."""

    def call(*arguments: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["motorfit", *map(str, arguments)])
        capsys.readouterr()
        code = 0
        try:
            main()
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 0 if left.code is None else 1
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return call


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a library with a fit of each of two motors."""
    fits = [make_fit(1, "tern-2807"), make_fit(2, "gull-2306")]
    posteriors = tuple(
        StandInPosterior(
            fit.motor,
            fit.propellers,
            fit.draws,
            fit.prior,
            {},
            fit.observed,
            fit.predictive,
            fit.constant,
            fit.attributes,
        )
        for fit in fits
    )
    folder = tmp_path / "library"
    result: Any = StandInResult(None, posteriors)
    store.save_fit(folder, result)
    return folder
