"""Calibration on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rich.table import Table

from motorfit.calibration.scenarios import SCENARIOS
from motorfit.calibration.summary import Predicted, Scored, Summary


def held(scored: Scored | Predicted, interval: float) -> str:
    """Counts of one interval, marked where they cannot be believed to be right."""
    for one in scored.shares:
        if one.interval == interval:
            return f"{one.held:g} of {one.of}" + ("" if one.believed else " !")
    return "–"


def calibration_tables(summaries: Sequence[Summary]) -> list[Table]:
    """A table a scenario."""
    tables = []
    for summary in summaries:
        table = Table(title=f"{summary.scenario}: {SCENARIOS[summary.scenario].about}", title_justify="left")
        table.caption = (
            f"{summary.benches} benches, {summary.failed} refused, {summary.unsound} not sound. "
            "Right: mean z 0, mean |z| 0.80. Width: deviation over that of the information limit. "
            "'!' where the share is off by more than chance (95 %)."
        )
        for head in ("parameter", "50 %", "90 %", "95 %", "mean z", "mean |z|", "width", "ranks"):
            table.add_column(head, justify="left" if head == "parameter" else "right")
        for one in (*summary.parameters, *(replace(p, name=f"{p.name}, difference") for p in summary.pairs)):
            ranks = "–" if one.uniform is None else "uniform" if one.uniform else "not uniform"
            table.add_row(
                one.name, held(one, 0.50), held(one, 0.90), held(one, 0.95), f"{one.mean_z:+.2f}",
                f"{one.mean_abs_z:.2f}", "–" if one.width is None else f"{one.width:.2f}", ranks,
            )  # fmt: skip
        for curve in summary.curves:
            shares = (held(curve, interval) for interval in (0.50, 0.90, 0.95))
            error = "" if curve.error is None else f"error {100.0 * curve.error:.1f} %"
            width = "" if curve.width is None else f"± {100.0 * curve.width:.1f} %"
            table.add_row(f"{curve.condition}: {curve.curve}", *shares, error, width, "", "")
        for said in summary.odds:
            table.add_row(
                f"{said.name}, first greater: Brier {said.brier:.3f}, right {said.ideal:.3f} ± {said.sd:.3f}"
            )
        tables.append(table)
    return tables
