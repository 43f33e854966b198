"""`motorfit calibrate`: how often intervals hold the truth, on simulated benches."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motorfit.cli.options import AsJson
from motorfit.cli.output import print_json, print_table, progress_of


def calibrate(
    scenario: Annotated[
        list[str] | None,
        typer.Option(
            "--scenario", metavar="NAME", help="May be repeated. [default: all]", show_default=False
        ),
    ] = None,
    benches: Annotated[
        int, typer.Option("--benches", min=0, max=100_000, help="Of each scenario; 0 only reads records.")
    ] = 25,
    seed: Annotated[
        int, typer.Option("--seed", min=0, max=2**62, help="Of the first bench; the others follow.")
    ] = 3000,
    draws: Annotated[int, typer.Option("--draws", min=100, max=100_000, help="Of each fit.")] = 4000,
    jobs: Annotated[int, typer.Option("--jobs", min=1, max=1024, help="Processes.")] = 1,
    out: Annotated[
        Path,
        typer.Option("--out", metavar="DIR", file_okay=False, help="Folder of records; a rerun continues."),
    ] = Path("motorfit-calibration"),
    as_json: AsJson = False,
) -> None:
    """Count how often intervals hold the truth.

    Simulates benches whose truth is known, fits each and compares. Records are written after every
    bench; a run that was broken off continues where it stopped.

    \b
    Example:  motorfit calibrate --scenario nominal --benches 10 --jobs 2
              motorfit calibrate --benches 0 --out docs/calibration --json
    """
    from motorfit.calibration.scenarios import chosen

    kinds = chosen(scenario or ())

    from motorfit.calibration.records import read_records
    from motorfit.calibration.study import study
    from motorfit.calibration.summary import summarise

    if benches:
        with progress_of("calibration") as report:
            study(kinds, out, benches=benches, seed=seed, draws=draws, jobs=jobs, progress=report)
    found = [(kind, read_records(out, kind.name)) for kind in kinds]
    summaries = [summarise(kind.name, records) for kind, records in found if records]
    if as_json:
        print_json({"records": str(out), "scenarios": [summary.to_json() for summary in summaries]})
        return
    from motorfit.report.calibration_tables import calibration_tables

    print_table(*calibration_tables(summaries))
