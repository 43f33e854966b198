"""Running a command in this process, and a library with two motors in it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motorfit.archive import store
from motorfit.cli import main
from tests.answers.standin import make_fit
from tests.archive.factory import StandInPosterior, StandInResult

CAMPAIGN = """
format = 1
title = "One ramp"
[air]
temperature_c = 20
pressure_hpa = 1013
humidity_pct = 40
[bench]
name = "stand"
[[motors]]
id = "tern-2807"
mass_g = 48.2
pole_pairs = 7
label_kv = 1300
[[propellers]]
id = "p7x35x3"
diameter_in = 7
pitch_in = 3.5
blades = 3
[[runs]]
id = "ramp"
motor = "tern-2807"
kind = "ramp"
file = "ramp.csv"
propeller = "p7x35x3"
"""


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


def stand_in_posteriors() -> tuple[StandInPosterior, ...]:
    """Return posteriors of two motors as inference would."""
    return tuple(
        StandInPosterior(
            motor=fit.motor,
            propellers=fit.propellers,
            draws=fit.draws,
            prior=fit.prior,
            sample_stats={},
            observed=fit.observed,
            predictive=fit.predictive,
            constant=fit.constant,
            attributes=fit.attributes,
        )
        for fit in (make_fit(1, "tern-2807"), make_fit(2, "gull-2306"))
    )


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a library with a fit of each of two motors."""
    result: Any = StandInResult(None, stand_in_posteriors())
    store.save_fit(tmp_path / "library", result)
    return tmp_path / "library"


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    """Return a campaign file of one ramp, with its log beside it."""
    rng = np.random.default_rng(5)
    time = np.arange(0.0, 4.0, 0.01)
    throttle = np.clip(0.1 + time / 4.0, 0.0, 1.0)
    speed = 18000.0 * throttle + rng.normal(0.0, 5.0, time.size)
    current = 30.0 * throttle**3 + 0.5 + rng.normal(0.0, 0.05, time.size)
    thrust = 14.0 * throttle**2 + rng.normal(0.0, 0.05, time.size)
    voltage = 22.2 - 0.01 * current + rng.normal(0.0, 0.01, time.size)
    table = np.column_stack([time, throttle, voltage, current, speed, thrust])
    header = "time [s],throttle,voltage [V],current [A],speed [rpm],thrust [N]"
    np.savetxt(tmp_path / "ramp.csv", table, delimiter=",", header=header, comments="", fmt="%.6f")
    path = tmp_path / "campaign.toml"
    path.write_text(CAMPAIGN)
    return path
