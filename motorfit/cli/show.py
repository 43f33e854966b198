"""`motorfit show`: what a fit knows of a motor."""

from __future__ import annotations

from typing import Annotated

import typer

from motorfit.cli.options import AsJson, FitId, Interval, Library, MotorId, library_folder
from motorfit.cli.output import print_json, print_table


def show(
    motor: MotorId,
    library: Library = None,
    fit: FitId = None,
    interval: Interval = 0.9,
    diagnose: Annotated[
        bool, typer.Option("--diagnose", help="What the diagnostics of the fit mean, and what to do.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show a motor's parameters with intervals.

    Each with how much the runs taught of it; what they did not teach is said, with the run that would.

    \b
    Example:  motorfit show tern-2807
              motorfit show tern-2807 --library ./fits --json
              motorfit show tern-2807 --diagnose
    """
    from motorfit.answers.show import summarise
    from motorfit.archive.store import load_fit

    summary = summarise(load_fit(library_folder(library), motor, fit), interval)
    if as_json:
        print_json(summary.to_json())
        return
    if diagnose:
        from motorfit.report.diagnosis_tables import diagnosis_tables

        print_table(diagnosis_tables(summary.motor, summary.diagnostics))
        return
    from motorfit.report.tables import summary_table

    print_table(summary_table(summary))
