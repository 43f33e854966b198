"""`motorfit compare` on a stored library: the same numbers as the function behind it, and its messages."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from motorfit.answers.companions import companions, fits_of
from motorfit.answers.compare import compare
from motorfit.archive.store import list_fits
from tests.cli.conftest import Run

MOTORS = ("tern-2807", "gull-2306")


def test_compare_json_is_the_comparison(run: Run, library: Path) -> None:
    ran = run(
        "compare", *MOTORS, "--library", library, "--propeller", "p7x35x3", "--voltage", "22.2", "--metric",
        "kv,max_thrust_n,max_thrust_n_per_gram", "--margin", "kv=0.005", "--weights", "max_thrust_n=1",
        "--claim", "tern-2807:max_thrust_n=12.5", "--json",
    )  # fmt: skip
    assert (ran.code, ran.err) == (0, "")
    fits = fits_of(library, MOTORS)
    expected = compare(
        fits,
        companions=companions(library, fits),
        propeller="p7x35x3",
        voltage_v=22.2,
        metrics=("kv", "max_thrust_n", "max_thrust_n_per_gram"),
        margin={"kv": 0.005},
        weights={"max_thrust_n": 1.0},
        claims={"tern-2807:max_thrust_n": 12.5},
    )
    document = json.loads(ran.out)
    assert document == json.loads(json.dumps(expected.to_json()))
    assert document["metrics"][0]["margin"] == 0.005
    assert [c["metric"] for c in document["claims"] if c["motor"] == "tern-2807"] == ["kv", "max_thrust_n"]


def test_compare_prints_figures_differences_and_notes(run: Run, library: Path) -> None:
    ran = run("compare", *MOTORS, "--library", library, "--metric", "kv,rotor_inertia")
    assert ran.code == 0
    for text in (
        "tern-2807",
        "gull-2306",
        "rpm/V",
        "P(first",
        "note (paired)",
        "cannot be told apart",
        "certify",
    ):
        assert text in ran.out


def test_one_motor_is_checked_against_its_label(run: Run, library: Path) -> None:
    ran = run("compare", "tern-2807", "--library", library)
    assert ran.code == 0
    assert "from the label's 1300 rpm/V" in ran.out.replace("\n", " ")


def test_a_named_fit_answers(run: Run, library: Path) -> None:
    (stored,) = list_fits(library, "gull-2306")
    ran = run("compare", *MOTORS, "--library", library, "--fit", stored.fit_id, "--metric", "kv", "--json")
    assert json.loads(ran.out)["fits"]["gull-2306"] == [stored.fit_id]


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (("heron",), 1, "holds no fit of it"),
        (("tern-2807", "tern-2807"), 1, "every motor once"),
        (("tern-2807", "--metric", "thrust"), 1, "metric: 'thrust' cannot be used"),
        (("tern-2807", "--margin", "wide"), 2, "a share such as 0.02"),
        (("tern-2807", "--claim", "kv"), 2, "NAME=FIGURE is allowed"),
        (("tern-2807", "--claims", "none.csv"), 1, "a file of claimed points"),
        ((), 2, "Missing argument"),
    ],
)
def test_wrong_questions(
    run: Run, library: Path, arguments: tuple[str, ...], code: int, message: str
) -> None:
    ran = run("compare", *arguments, "--library", library)
    assert ran.code == code
    assert message in ran.err
    assert ran.out == ""
