"""`show` and `predict` on a stored library: the same numbers as the functions behind them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from motorfit.answers.predict import predict
from motorfit.answers.show import summarise
from motorfit.archive.store import list_fits, load_fit
from tests.cli.conftest import Run


def _strict(text: str) -> Any:
    def refuse(word: str) -> None:
        raise ValueError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


def test_show_json_is_the_summary(run: Run, library: Path) -> None:
    ran = run("show", "tern-2807", "--library", library, "--json")
    assert (ran.code, ran.err) == (0, "")
    document = _strict(ran.out)
    assert document == summarise(load_fit(library, "tern-2807")).to_json()
    assert document["motor"] == "tern-2807"
    assert document["parameters"]["kv"].keys() == {
        "unit",
        "median",
        "low",
        "high",
        "sd",
        "contraction",
        "learned",
    }
    assert "thrust_coefficient[p7x35x3]" in document["parameters"]


def test_show_prints_a_table(run: Run, library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MOTORFIT_LIBRARY", str(library))
    ran = run("show", "tern-2807")
    assert ran.code == 0
    assert "kv" in ran.out and "rpm/V" in ran.out


def test_show_takes_a_named_fit(run: Run, library: Path) -> None:
    (fit,) = list_fits(library, "gull-2306")
    ran = run("show", "gull-2306", "--fit", fit.fit_id, "--library", library, "--json")
    assert _strict(ran.out)["fit"] == fit.fit_id


def test_predict_json_is_the_prediction(run: Run, library: Path) -> None:
    ran = run(
        "predict", "tern-2807", "--library", library, "--propeller", "p7x35x3", "--voltage", "22.2",
        "--throttle", "0.2,0.4", "--draws", 200, "--current-limit", "none", "--json",
    )  # fmt: skip
    assert (ran.code, ran.err) == (0, "")
    expected = predict(
        load_fit(library, "tern-2807"),
        propeller="p7x35x3",
        voltage_v=22.2,
        throttle=(0.2, 0.4),
        draws=200,
        current_limit=None,
    )
    document = _strict(ran.out)
    assert document == expected.to_json()
    names = {"throttle", "speed_rpm", "thrust_n", "torque_nm", "current_a", "motor_current_a"}
    names |= {"electrical_power_w", "mechanical_power_w", "motor_efficiency", "thrust_per_watt_g"}
    assert set(document["curves"]) == names
    assert document["curves"]["throttle"] == [0.2, 0.4]


@pytest.mark.parametrize("propeller", ["p9x5x2", "8x4x2"])
def test_predict_prints_its_warnings_with_the_table(run: Run, library: Path, propeller: str) -> None:
    ran = run("predict", "tern-2807", "--library", library, "--propeller", propeller, "--voltage", "30")
    assert ran.code == 0
    assert "caution" in ran.out
