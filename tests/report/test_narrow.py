"""Terminals of eighty columns: nothing is cut, and nothing breaks within a word."""

from __future__ import annotations

import io

import numpy as np
import pytest
from rich.console import Console, RenderableType

from motorfit.answers.compare import compare
from motorfit.answers.predict import predict
from motorfit.answers.show import summarise
from motorfit.bench.findings import Finding
from motorfit.report.comparison_tables import comparison_tables
from motorfit.report.narrow import Name, PlainTable
from motorfit.report.tables import findings_table, prediction_table, summary_table
from tests.answers.benches import TRUTH, near, one_bench
from tests.answers.standin import make_fit


def lines_of(width: int, *renderables: RenderableType) -> list[str]:
    console = Console(file=io.StringIO(), width=width, color_system=None)
    for one in renderables:
        console.print(one)
    return console.file.getvalue().splitlines()  # type: ignore[attr-defined, no-any-return]


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        (40, ["torque_reynolds_exponent[p7x35x3]"]),
        (25, ["torque_reynolds_exponent", "[p7x35x3]"]),
        (20, ["torque_reynolds_", "exponent[p7x35x3]"]),
        (6, ["torque", "_", "reynol", "ds_", "expone", "nt", "[p7x35", "x3]"]),
    ],
)
def test_a_name_breaks_between_its_words_while_it_can(width: int, expected: list[str]) -> None:
    assert [line.strip() for line in lines_of(width, Name("torque_reynolds_exponent[p7x35x3]"))] == expected


def test_a_table_too_wide_is_split_and_keeps_its_first_column() -> None:
    table = PlainTable("Title", keep=1)
    table.add_column("point", no_wrap=True)
    for k in range(4):
        table.add_column(f"curve {k}", no_wrap=True)
    for k in range(2):
        table.add_row(f"at {k}", *(f"{value}.25 … {value}.75" for value in range(4)))
    lines = lines_of(42, table)
    assert sum("Title" in line for line in lines) == 1
    assert sum(line.strip().startswith("point") for line in lines) == 2
    assert all(any(f"{v}.25 … {v}.75" in line for line in lines) for v in range(4))
    assert max(map(len, lines)) <= 42
    assert sum(line.strip().startswith("point") for line in lines_of(120, table)) == 1


def test_no_number_of_a_prediction_is_cut() -> None:
    answer = predict(make_fit(), propeller="7x4.5x2", voltage_v=16.0, throttle=[0.25, 1.0])
    wide, narrow = (" ".join(lines_of(width, prediction_table(answer))) for width in (160, 80))
    ends = [word for word in wide.split() if word[0].isdigit()]
    assert ends and all(word in narrow.split() for word in ends)
    assert max(map(len, lines_of(80, prediction_table(answer)))) <= 80


def test_parameters_are_whole_words() -> None:
    text = " ".join(" ".join(lines_of(80, summary_table(summarise(make_fit())))).split())
    assert "winding_resistance " in text and "no_load_current " in text


def test_a_comparison_keeps_motors_and_probabilities_whole(rng: np.random.Generator) -> None:
    names = ["curlew-2810", "dunlin-2806", "plover-2807"]
    fits = one_bench(rng, [near(rng, 0.02, TRUTH) for _ in names], names=names)
    answer = compare(fits, metrics=("kv", "max_thrust_n_per_gram"), propeller="p7x35x3", voltage_v=22.2)
    lines = lines_of(80, *comparison_tables(answer))
    head = next(line for line in lines if line.strip().startswith("figure"))
    assert head.split()[-3:] == names
    for first, second in (names[:2], names[1:], (names[0], names[2])):
        assert sum(f"{first} − {second}: " in line for line in lines) == 2
    assert sum("P(first\u00a0greater)\u00a0" in line for line in lines) == 6
    assert max(map(len, lines)) <= 80


def test_places_stand_above_each_other_beside_the_words() -> None:
    finding = Finding(
        "plover-steps-p70x35x3", "speed", "note", "spikes", "3 spikes", "None needed.", 1.0, 2.5, (7, 9)
    )
    lines = lines_of(80, findings_table([finding]))
    starts = [line.split("  ")[0].strip() for line in lines if line.strip()][3:]
    assert starts[:5] == ["note", "plover-steps-p70x35x3", "speed", "1.00 to 2.50 s", "lines 7, 9"]
