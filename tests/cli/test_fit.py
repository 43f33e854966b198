"""`fit` and `demo` around a stand-in for the inference, which has tests of its own."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from motorfit.archive.store import list_fits
from motorfit.errors import MotorfitError
from tests.archive.factory import StandInResult
from tests.cli.conftest import Run, stand_in_posteriors

Asked = dict[str, Any]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Asked:
    """Replace the inference; return what it was asked for."""
    seen: Asked = {}

    def fit_campaign(
        campaign: Any, logs: Any, *, progress: Callable[[str, float], None], **options: Any
    ) -> Any:
        seen.update(options, runs=[log.run.id for log in logs])
        if seen.get("fail"):
            raise MotorfitError("motor tern-2807: nothing in the runs teaches anything. Add a run.")
        progress("optimum", 0.2)
        progress("optimum", 0.4)
        progress("draws", 1.0)
        return StandInResult(campaign, stand_in_posteriors())

    module = ModuleType("motorfit.inference.fit")
    module.fit_campaign = fit_campaign  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "motorfit.inference.fit", module)
    return seen


def test_fit_stores_all_motors_and_tells_them(run: Run, campaign: Path, tmp_path: Path, asked: Asked) -> None:
    folder = tmp_path / "fits"
    ran = run(
        "fit",
        campaign,
        "--library",
        folder,
        "--method",
        "ensemble",
        "--seed",
        "7",
        "--draws",
        "500",
        "--json",
    )
    document = json.loads(ran.out)
    assert ran.code == 0
    assert {fit.fit_id for fit in list_fits(folder)} == {fit["fit"] for fit in document["fits"]}
    assert len({fit["campaign_fit"] for fit in document["fits"]}) == 1
    assert [motor["motor"] for motor in document["motors"]] == ["tern-2807", "gull-2306"]
    assert (asked["method"], asked["seed"], asked["draws"], asked["runs"]) == ("ensemble", 7, 500, ["ramp"])


def test_progress_is_a_line_a_stage_where_there_is_no_terminal(
    run: Run, campaign: Path, tmp_path: Path, asked: Asked
) -> None:
    ran = run("fit", campaign, "--library", tmp_path / "fits")
    assert ran.code == 0
    assert "One ramp: optimum (20 %)\nOne ramp: draws (100 %)\n" in ran.err
    assert "tern-2807" in ran.out and "stored" in ran.err


def test_a_fit_that_cannot_be_made_leaves_nothing(
    run: Run, campaign: Path, tmp_path: Path, asked: Asked
) -> None:
    asked["fail"] = True
    ran = run("fit", campaign, "--library", tmp_path / "fits", "--json")
    assert (ran.code, ran.out) == (1, "")
    assert "nothing in the runs teaches anything" in ran.err
    assert not (tmp_path / "fits").exists()


def test_a_library_that_cannot_be_written_is_told_before_the_fit(
    run: Run, campaign: Path, tmp_path: Path, asked: Asked
) -> None:
    (tmp_path / "file").write_text("in the way")
    ran = run("fit", campaign, "--library", tmp_path / "file" / "library")
    assert ran.code == 1
    assert "is not a folder" in ran.err
    assert asked == {}


def test_demo_writes_campaign_fits_and_page(
    run: Run, campaign: Path, tmp_path: Path, asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("motorfit.synthetic.demo.write_demo", lambda folder, seed: campaign)
    out = tmp_path / "out"
    ran = run("demo", "--out", out, "--json")
    document = json.loads(ran.out)
    assert ran.code == 0
    assert Path(document["page"]).read_text(encoding="utf-8").lstrip().lower().startswith("<!doctype html")
    assert len(list_fits(out / "library")) == 2
    assert [motor["motor"] for motor in document["motors"]] == ["tern-2807", "gull-2306"]
