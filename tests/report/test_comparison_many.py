"""Many motors on the terminal: a list a figure, best first; cautions once a kind; claims as rows."""

from __future__ import annotations

import numpy as np
from rich.console import Console
from rich.table import Table

from motorfit.answers.compare import compare
from motorfit.answers.comparison import Comparison
from motorfit.report.comparison_many import cautions_of_many, claims_table, figure_list, ordered
from motorfit.report.comparison_tables import comparison_tables
from motorfit.report.comparison_words import front_text, sharper_text, unit_of_difference
from tests.answers.benches import TRUTH, near, one_bench


def six(rng: np.random.Generator, *metrics: str) -> Comparison:
    names = [f"m{k}" for k in range(6)]
    truths = [near(rng, 0.03, TRUTH) for _ in names]
    fits = one_bench(rng, truths, names=names, facts=[{"label_kv": 1300.0, "mass_g": 35.0}] * 6)
    return compare(fits, metrics=metrics, propeller="p7x35x3", voltage_v=16.0)


def cells(table: Table, column: int) -> list[str]:
    return [str(cell) for cell in table.columns[column].cells]


def test_motors_stand_best_first_each_beside_the_next(rng: np.random.Generator) -> None:
    answer = six(rng, "max_thrust_n", "rise_time_s")
    for metric, sign in zip(answer.metrics, (-1.0, 1.0), strict=True):
        order = ordered(answer, metric)
        medians = [sign * metric.motors[name][0] for name in order]
        assert medians == sorted(medians)
        table = figure_list(answer, metric)
        assert cells(table, 0) == order
        pair = next(p for p in metric.differences if {p.first, p.second} == set(order[:2]))
        greater = (
            pair.probability_first_greater if pair.first == order[0] else 1.0 - pair.probability_first_greater
        )
        before = greater if sign < 0.0 else 1.0 - greater
        told = cells(table, 4)[0]
        assert told == (">0.999" if before > 0.999 else f"{before:.3f}")
        assert cells(table, 4)[-1] == cells(table, 5)[-1] == ""


def test_a_kind_of_caution_is_told_once_and_names_everyone(rng: np.random.Generator) -> None:
    answer = six(rng, "max_thrust_n")
    told = [text.plain for text in cautions_of_many(answer)]
    assert len(told) == len({caution.code for _, caution in answer.warnings}) > 0
    for motor, caution in answer.warnings:
        (line,) = [text for text in told if f"({caution.code})" in text]
        assert motor in line


def test_labels_of_many_are_rows_that_never_read_certain(rng: np.random.Generator) -> None:
    answer = six(rng, "kv")
    table = claims_table(answer)
    assert cells(table, 0) == list(answer.names)
    assert set(cells(table, 1)) == {"kv, label"}
    for column in range(4, 8):
        assert not {"0.000", "1.000"} & set(cells(table, column))
    for claim in answer.claims:
        assert "from the label's 1300 rpm/V" in claim.text
        assert "1.00" not in claim.text and "0.00" not in claim.text


def test_the_terminal_turns_to_lists(rng: np.random.Generator) -> None:
    console = Console(width=100)
    with console.capture() as captured:
        for part in comparison_tables(six(rng, "max_thrust_n", "peak_efficiency")):
            console.print(part)
    text = captured.get()
    assert "it and the next" in text and "--json" in text and "no other motor" in text.replace("\n", " ")
    assert "first less second" not in text
    assert max(len(line) for line in text.splitlines()) <= 100


def test_sentences_of_several_figures(rng: np.random.Generator) -> None:
    answer = six(rng, "max_thrust_n", "peak_efficiency")
    assert answer.dominance is not None
    front = front_text(answer.dominance)
    assert front.startswith("Judged by max_thrust_n, peak_efficiency")
    beaten = [n for n, p in zip(answer.names, answer.dominance.front, strict=True) if p < 0.05]
    assert ("of all others" in front) is bool(beaten)
    assert not any(f"{name} " in front.partition("these is")[2] for name in beaten)
    gained = sharper_text(answer.metrics)
    largest = max(pair.sharper_by for metric in answer.metrics for pair in metric.differences)
    assert f"to {largest:.1f} (" in gained
    assert sharper_text([]) == ""
    assert unit_of_difference("%") == "points" and unit_of_difference("N") == "N"
