"""`predict`, `step`, `hover`, `torque` on a stored library: the same numbers as the functions behind them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from motorfit.answers.facts import Air
from motorfit.answers.hover import hover
from motorfit.answers.limits import Limits
from motorfit.answers.predict import predict
from motorfit.answers.shaft import torque_curve
from motorfit.answers.step import step
from motorfit.answers.supply import PackChoice
from motorfit.archive.store import load_fit
from tests.cli.conftest import Run

STEP = ("step", "tern-2807", "--propeller", "p7x35x3", "--from", "0.2", "--to", "0.6")
HOVER = ("hover", "tern-2807", "--propeller", "p7x35x3", "--cells", "4", "--capacity-mah", "1500", "--mass-g")


def test_step_json_is_the_answer(run: Run, library: Path) -> None:
    ran = run(*STEP, "--voltage", "16", "--times", "0,0.05", "--library", library, "--json")
    assert (ran.code, ran.err) == (0, "")
    expected = step(
        load_fit(library, "tern-2807"), propeller="p7x35x3", voltage_v=16.0, from_throttle=0.2,
        to_throttle=0.6, times_s=(0.0, 0.05),
    )  # fmt: skip
    assert json.loads(ran.out) == expected.to_json()


def test_hover_json_is_the_answer(run: Run, library: Path) -> None:
    ran = run(
        *HOVER, "900", "--motors", 6, "--reserve", "0.3", "--charge", "0.9", "--cell-resistance-ohm", "0.005",
        "--pack-temperature", "10", "--air-temperature", "30", "--max-pack-current-a", "3",
        "--library", library, "--json",
    )  # fmt: skip
    assert (ran.code, ran.err) == (0, "")
    expected = hover(
        load_fit(library, "tern-2807"), propeller="p7x35x3", pack=PackChoice(4, 1500.0, 0.9, 0.005, 10.0),
        mass_g=900.0, motors=6, reserve=0.3, air=Air(30.0, 1010.0, 50.0), limits=Limits(pack_current_a=3.0),
    )  # fmt: skip
    document = json.loads(ran.out)
    assert document == expected.to_json()
    assert "over-current" in {w["code"] for w in document["warnings"]}


def test_predict_over_an_axis_from_a_pack(run: Run, library: Path) -> None:
    ran = run(
        "predict", "tern-2807", "--propeller", "p7x35x3", "--cells", 4, "--capacity-mah", 1500, "--motors", 4,
        "--against", "thrust", "--points", "2,4", "--library", library, "--json",
    )  # fmt: skip
    assert (ran.code, ran.err) == (0, "")
    expected = predict(
        load_fit(library, "tern-2807"), propeller="p7x35x3", pack=PackChoice(4, 1500.0), motors=4,
        against="thrust", points=(2.0, 4.0),
    )  # fmt: skip
    assert json.loads(ran.out) == expected.to_json()


def test_torque_json_is_the_answer(run: Run, library: Path) -> None:
    ran = run("torque", "tern-2807", "--voltage", "16", "--points", "0,5000", "--library", library, "--json")
    assert (ran.code, ran.err) == (0, "")
    expected = torque_curve(load_fit(library, "tern-2807"), voltage_v=16.0, speed_rpm=(0.0, 5000.0))
    assert json.loads(ran.out) == expected.to_json()


def test_tables_come_with_cautions_and_a_word_of_safety(run: Run, library: Path) -> None:
    stepped = run(*STEP, "--voltage", "16", "--library", library)
    assert stepped.code == 0
    assert "speeding up, 10 to 90 %" in stepped.out and "caution (braking-not-learned)" in stepped.out
    hovering = run(*HOVER, "900", "--library", library)
    assert "flight time" in hovering.out and "caution (static-hover)" in hovering.out
    assert "hurt people" in hovering.out
    shaft = run("torque", "tern-2807", "--voltage", "16", "--library", library)
    assert "stall torque" in shaft.out and "caution (stall)" in shaft.out
    axis = run(
        "predict", "tern-2807", "--propeller", "p7x35x3", "--voltage", "16", "--against", "thrust",
        "--points", "2,900", "--library", library,
    )  # fmt: skip
    assert "thrust" in axis.out and "hurt people" in axis.out
    assert "caution (out-of-reach)" in axis.out


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        ((*STEP,), 2, "give either a voltage or a pack"),
        ((*STEP, "--voltage", "16", "--cells", "4", "--capacity-mah", "1500"), 2, "give either a voltage"),
        ((*STEP, "--voltage", "16", "--motors", "4"), 2, "motors share a pack"),
        ((*STEP, "--cells", "4"), 2, "needs both --cells and --capacity-mah"),
        ((*STEP, "--voltage", "16", "--cell-resistance-ohm", "0.005"), 2, "belongs to a pack"),
        ((*STEP, "--voltage", "16", "--times", "a,b"), 2, "separated by commas"),
        ((*HOVER, "-5"), 1, "mass_g: -5.0 cannot be used"),
        ((*HOVER, "900", "--cell-resistance-ohm", "5"), 1, "not milliohms"),
        ((*HOVER, "900", "--air-pressure", "29.9"), 1, "air_pressure: 29.9 cannot be used"),
        (("torque", "tern-2807", "--voltage", "16", "--points", "x"), 2, "separated by commas"),
        (("torque", "tern-2807", "--voltage", "16", "--throttle", "50"), 1, "throttle: 50.0"),
    ],
)
def test_wrong_questions_leave_with_a_message(
    run: Run, library: Path, arguments: tuple[str, ...], code: int, message: str
) -> None:
    ran = run(*arguments, "--library", library)
    assert ran.code == code
    assert message in " ".join(ran.err.split())
    assert ran.out == ""
