"""A comparison for people: a figure that plotly takes, a page that holds it, escaped text, no certainty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import plotly.graph_objects as go
import pytest

from motorfit.answers.compare import compare
from motorfit.answers.comparison import Comparison
from motorfit.report import page as page_module
from motorfit.report.comparison_figure import comparison_figure
from motorfit.report.comparison_section import comparison_tables_html
from motorfit.report.comparison_tables import comparison_tables
from motorfit.report.comparison_words import listed_pairs, probability, sharper_text
from motorfit.report.page import fit_page
from tests.answers.benches import TRUTH, near, one_bench
from tests.answers.standin import StandIn


def fits_of(rng: np.random.Generator, motors: int = 3) -> list[StandIn]:
    names = [f"m{k}" for k in range(motors)]
    return one_bench(rng, [near(rng, 0.01, TRUTH) for _ in names], names=names)


def answer_of(fits: list[StandIn]) -> Comparison:
    weights = {"max_thrust_n": 1.0, "peak_efficiency": 1.0}
    return compare(fits, propeller="p7x35x3", voltage_v=16.0, weights=weights)


def test_the_figure_is_over_the_first_motor(rng: np.random.Generator) -> None:
    fits = fits_of(rng)
    answer = compare(fits, metrics=("kv", "winding_resistance"))
    figure = comparison_figure(answer)
    go.Figure(figure)  # refuses what plotly does not know
    points = [trace for trace in figure["data"] if trace["mode"] == "markers"]
    assert len(points) == 4  # two metrics, two motors over the first
    ratio = fits[1].draws["kv"] / fits[0].draws["kv"]
    assert points[0]["x"][0] == pytest.approx(100.0 * np.median(ratio) - 100.0, abs=1e-3)
    bars = [trace for trace in figure["data"] if trace["mode"] == "lines"]
    assert bars[0]["x"] == pytest.approx(100.0 * np.quantile(ratio, (0.05, 0.95)) - 100.0, abs=1e-3)
    band = figure["layout"]["shapes"][0]
    assert (band["x0"], band["x1"]) == (-1.0, 1.0)


def test_one_motor_has_no_such_figure(rng: np.random.Generator) -> None:
    assert comparison_figure(compare(fits_of(rng, 1), metrics=("kv",)))["data"] == []


def test_the_page_compares_first(rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_module, "plot_script", lambda: "")
    fits = fits_of(rng)
    fits[1] = replace(fits[1], motor='<b>"m1"')
    page = fit_page(fits, comparison=answer_of(fits))
    order = [page.index(text) for text in ("Before you use these numbers", "<h2>Compared", "<h2>Parameters")]
    assert order == sorted(order)
    assert "<b>" not in page
    for text in ("Differences</h3>", "Score by max_thrust_n 50 %", "Labels and claims", "fitted together"):
        assert text in page
    alone = fit_page(fits[:1], comparison=compare(fits[:1], metrics=("kv",)))
    assert "<h2>Figures" in alone and "Differences</h3>" not in alone


def test_many_motors_are_listed_against_the_first_ranked(rng: np.random.Generator) -> None:
    answer = compare(fits_of(rng, 6), metrics=("kv",))
    (metric,) = answer.metrics
    listed = listed_pairs(answer, metric)
    best = max(metric.ranks, key=lambda name: metric.ranks[name][0])
    assert len(listed) == 5
    assert all(best in (pair.first, pair.second) for pair in listed)
    assert comparison_tables_html(answer).count("<td>m") == 5


def test_what_pairing_gained_is_said_where_it_gained_something(rng: np.random.Generator) -> None:
    fits = fits_of(rng)[:2]
    one = sharper_text(compare(fits, metrics=("kv",)).metrics)
    assert one.startswith("Subtracted draw by draw, the difference is ")
    assert " to " in sharper_text(compare(fits, metrics=("kv", "kt")).metrics)
    # What units of a model scatter by is far more than what their bench shares.
    assert sharper_text(compare(fits, metrics=("kv",), models=True).metrics) == ""


def test_no_probability_reads_certain() -> None:
    assert [probability(p) for p in (1.0, 0.0, 0.5, float("nan"))] == [">0.999", "<0.001", "0.500", "–"]


def test_terminal_tables_cover_everything(rng: np.random.Generator) -> None:
    from rich.console import Console

    console = Console(width=140, record=True, file=None, quiet=False)
    with console.capture() as captured:
        for part in comparison_tables(answer_of(fits_of(rng))):
            console.print(part)
    text = captured.get()
    for expected in ("max_thrust_n_per_gram", "mN/g", "P(first", "Score by", "no other motor", "certify"):
        assert expected in text
