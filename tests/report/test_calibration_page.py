"""The page of calibration says what its records say, and its figures are drawings."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motorfit.calibration.bench import MAIN
from motorfit.calibration.judge import score
from motorfit.calibration.records import read_all
from motorfit.calibration.summary import odds, summarise
from motorfit.report.calibration_page import calibration_files

DOCS = Path(__file__).resolve().parents[2] / "docs"


def records(width: float, scenario: str = "sbc", n: int = 60) -> list[dict[str, Any]]:
    """Benches of a normal posterior whose width is told times ``width``."""
    rng = np.random.default_rng(0)
    made = []
    for seed in range(n):
        draws = rng.normal(0.0, width, 400)
        true = float(rng.normal())
        made.append(
            {
                "scenario": scenario, "seed": seed, "sound": True, "path": "fast", "wall_s": 2.0, "chi2": 1.0,
                "version": "0", "date": "2030-01-02", "draws": 400, "machine": "one",
                "parameters": {name: score(draws, true) | {"width": width} for name in MAIN},
                "pairs": {"kv": score(draws, true) | {"p": 0.5, "greater": float(seed % 2)}},
                "curves": {"voltage": {"thrust_n": [score(draws, true)["u"]] * 5}},
                "errors": {"voltage": {"thrust_n": [-0.02, 0.01, 0.02, 0.02, 0.3]}},
                "widths": {"voltage": {"thrust_n": [width * 0.04] * 5}},
            }
        )  # fmt: skip
    return made


def test_the_page_in_docs_is_what_its_records_say() -> None:
    for name, text in calibration_files(read_all(DOCS / "calibration")).items():
        held = (DOCS / name).read_text(encoding="utf-8")
        assert held == text, "run: python -m benchmarks.calibration --page-only"


def test_too_narrow_draws_are_named_and_right_ones_are_not() -> None:
    wrong = calibration_files({"sbc": records(0.5)})["calibration.md"]
    right = calibration_files({"sbc": records(1.0)})["calibration.md"]
    assert (
        "90 % intervals hold the truth too seldom for kv" in wrong and "ranks are not uniform for kv" in wrong
    )
    assert "predicted bands are too narrow for thrust_n at voltage" in wrong
    for words in ("too seldom", "not uniform for", "too narrow for"):
        assert words not in right
    assert "Not made yet: nominal, rich" in right and "60 benches; motorfit 0; 2030-01-02; 400 draws" in right


def test_figures_are_svg_without_script_and_show_every_parameter() -> None:
    files = calibration_files({"sbc": records(1.0), "rich": records(1.0, "rich", 5)})
    for name in ("calibration/coverage.svg", "calibration/ranks.svg"):
        root = ElementTree.fromstring(files[name])
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert {e.text for e in root.iter("{http://www.w3.org/2000/svg}text")} >= set(MAIN)
        assert "script" not in files[name]


def test_points_of_a_bench_count_once() -> None:
    (curve,) = summarise("rich", records(1.0, "rich", 20)).curves
    assert curve.benches == 20 and {one.of for one in curve.shares} == {20}
    assert curve.error == pytest.approx(0.02) and curve.width == pytest.approx(0.04)


def test_records_without_errors_leave_them_open() -> None:
    old = [{k: v for k, v in r.items() if k not in ("errors", "widths")} for r in records(1.0, "rich", 12)]
    (curve,) = summarise("rich", old).curves
    assert curve.error is None and "| – | – |" in calibration_files({"rich": old})["calibration.md"]


def test_probabilities_that_are_right_score_what_they_promise() -> None:
    rng = np.random.default_rng(2)
    p = rng.uniform(size=4000)
    right = odds("kv", p, rng.uniform(size=p.size) < p)
    bold = odds("kv", np.where(p > 0.5, 0.99, 0.01), rng.uniform(size=p.size) < p)
    assert abs(right.brier - right.ideal) < 3.0 * right.sd
    assert bold.brier - bold.ideal > 10.0 * bold.sd
    assert right.ideal == pytest.approx(1.0 / 6.0, abs=0.01)
