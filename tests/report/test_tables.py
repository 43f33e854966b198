from __future__ import annotations

import io

from rich.console import Console, RenderableType

from motorfit.answers.predict import predict
from motorfit.answers.show import summarise
from motorfit.bench.findings import Finding
from motorfit.report.tables import findings_table, fit_table, prediction_table, summary_table
from tests.answers.standin import make_fit


def text(renderable: RenderableType) -> str:
    console = Console(file=io.StringIO(), width=140, color_system=None)
    console.print(renderable)
    found = console.file.getvalue()  # type: ignore[attr-defined]
    return str(found)


def row(table: str, start: str) -> str:
    return next(line for line in table.splitlines() if line.strip().startswith(start))


def test_a_summary_shows_interval_unit_and_what_was_learned() -> None:
    table = text(summary_table(summarise(make_fit())))
    assert row(table, "kv").split() == ["kv", "1300.0", "1297.9", "…", "1302.1", "rpm/V", "99.9", "%"]
    assert "mΩ" in row(table, "winding_resistance")
    assert "no (" in row(table, "thrust_coefficient[p9x5x2]")
    assert "p9x5x2: not learned: thrust_coefficient, torque_coefficient" in table
    assert "gain_thrust." not in table  # a sensor's own doubt asks nobody for another run
    short = text(summary_table(summarise(make_fit()), everything=False))
    assert "duty_slope" not in short


def test_motors_stand_side_by_side() -> None:
    summaries = [summarise(make_fit(1, "tern")), summarise(make_fit(2, "gull"))]
    table = text(fit_table(summaries))
    assert row(table, "parameter").split()[-2:] == ["tern", "gull"]
    assert row(table, "kv").count("1300.0") == 2
    assert "not learned" in table


def test_an_id_is_text_and_not_markup() -> None:
    summary = summarise(make_fit(1, "[bold]tern[/bold]"))
    assert "[bold]tern[/bold]" in text(fit_table([summary]))
    assert "[bold]tern[/bold]" in text(summary_table(summary))


def test_a_prediction_shows_bands_and_cautions_first() -> None:
    found = text(
        prediction_table(predict(make_fit(), propeller="7x4.5x2", voltage_v=16.0, throttle=[0.25, 1.0]))
    )
    assert found.startswith("caution (geometry-only-propeller): 7x4.5x2 was not tested")
    assert "tern-2807 with 7x4.5x2 at 16 V" in found
    assert row(found, "0.25").split()[0] == "0.25"
    assert "…" in found


def test_findings_come_errors_first_with_place_and_remedy() -> None:
    findings = [
        Finding("ramp", "speed", "note", "spikes", "3 spikes", "None needed.", 1.0, 2.5, (7, 9, 11, 12)),
        Finding("hold", None, "error", "empty", "no rows", "Record it again."),
    ]
    table = text(findings_table(findings))
    assert table.index("no rows") < table.index("3 spikes")
    assert "1.00 to 2.50 s" in table
    assert "lines 7, 9, 11, …" in table
    assert "Record it again." in table
