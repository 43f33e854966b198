from __future__ import annotations

import json
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from motorfit.answers.facts import envelope
from motorfit.answers.predict import predict
from motorfit.report.curves import prediction_figure
from motorfit.report.parameters import parameter_figure, propeller_figure
from motorfit.report.runs import run_figure, run_ids
from motorfit.report.style import FigureDict
from tests.answers.standin import make_fit


def valid(figure: FigureDict) -> Any:
    """The plotting library refuses what it does not know; JSON refuses NaN."""
    json.dumps(figure, allow_nan=False)
    return go.Figure(figure)


def test_every_motor_has_its_bar_its_prior_and_its_marker() -> None:
    made = valid(parameter_figure([make_fit(1, "tern"), make_fit(2, "gull")]))
    markers = [trace.marker.symbol for trace in made.data if trace.mode == "markers"]
    assert len(made.data) == 3 * len(markers)
    assert set(markers) == {"circle", "square"}  # colour is not the only sign
    titles = [note.text for note in made.layout.annotations]
    assert any("rpm/V" in title for title in titles)
    assert any("g·cm²" in title for title in titles)


def test_bars_lie_inside_their_axis() -> None:
    made = valid(propeller_figure(make_fit()))
    for trace in made.data:
        axis = made.layout[trace.xaxis.replace("x", "xaxis")]
        assert axis.range[0] < min(trace.x)
        assert max(trace.x) < axis.range[1]


def test_a_run_is_drawn_over_time_with_its_residuals() -> None:
    fit = make_fit()
    assert run_ids(fit) == ["tern-ramp", "tern-table"]
    figure = run_figure(fit, "tern-ramp")
    assert figure is not None
    made = valid(figure)
    points = [trace for trace in made.data if trace.mode == "markers"]
    assert [len(trace.x) for trace in points] == [60] * 6  # three channels, each with its residuals
    rest = np.asarray(points[1].y)
    assert abs(rest.mean()) < 0.2
    assert made.layout.xaxis2.title.text == "time [s]"
    assert "rpm" in made.layout.yaxis3.title.text
    assert made.layout.annotations[0].text.endswith("of 60 blocks inside the 90% band")


def test_a_table_is_drawn_over_throttle_without_what_it_did_not_log() -> None:
    figure = run_figure(make_fit(), "tern-table")
    assert figure is not None
    made = valid(figure)
    assert made.layout.xaxis2.title.text == "throttle"
    assert {len(trace.x) for trace in made.data} == {6}
    assert "thrust" not in json.dumps(figure)


def test_a_run_without_any_replica_has_no_figure() -> None:
    fit = make_fit()
    fit.predictive.clear()
    assert run_figure(fit, "tern-ramp") is None


def test_tested_throttles_are_shaded() -> None:
    fit = make_fit()
    prediction = predict(fit, propeller="p7x35x3", voltage_v=22.0, throttle=np.linspace(0.0, 1.0, 21))
    made = valid(prediction_figure(prediction, envelope(fit, "p7x35x3")))
    assert len(made.layout.shapes) == 6
    assert made.layout.shapes[0].x0 == pytest.approx(0.15)
    assert made.layout.shapes[0].x1 == pytest.approx(0.75)
    efficiency = next(
        trace for trace in made.data if trace.yaxis == "y5" and "lines" in trace.mode and trace.customdata
    )
    assert max(y for y in efficiency.y if y is not None) < 100.0


def test_untested_conditions_shade_nothing() -> None:
    prediction = predict(make_fit(), propeller="7x4x2", voltage_v=22.0)
    assert valid(prediction_figure(prediction)).layout.shapes == ()
