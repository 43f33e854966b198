"""`motorfit check`: what is wrong with the logs, what is assumed, what the runs can teach."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from motorfit.cli.options import AsJson, CampaignFile
from motorfit.cli.output import print_json, print_table, say

if TYPE_CHECKING:
    from rich.table import Table

    from motorfit.bench.check import CheckReport


def check(campaign: CampaignFile, as_json: AsJson = False) -> None:
    """Check a campaign's file and logs, no fit.

    What is wrong, what is assumed, and what the runs can and cannot teach. The exit code is 1 when
    something would stop a fit.

    \b
    Example:  motorfit check campaign.toml
              motorfit check campaign.toml --json
    """
    from motorfit.bench.campaign import load_campaign
    from motorfit.bench.check import check_campaign
    from motorfit.bench.faults import CampaignError
    from motorfit.bench.logs import try_read_runs

    try:
        loaded = load_campaign(campaign)
    except CampaignError as error:
        if as_json:
            faults = [
                {"path": fault.path, "value": fault.value, "allowed": fault.allowed, "remedy": fault.remedy}
                for fault in error.faults
            ]
            print_json({"campaign": str(campaign), "ok": False, "faults": faults})
        raise
    logs, found = try_read_runs(loaded)
    report = check_campaign(loaded, logs, found)
    if as_json:
        print_json({"campaign": loaded.title, "ok": not report.errors, "faults": [], **report.to_json()})
    else:
        _print(report)
    if report.errors:
        count = len(report.errors)
        say(f"{campaign}: {count} fault{'' if count == 1 else 's'} would stop a fit.")
        raise typer.Exit(1)


def _print(report: CheckReport) -> None:
    from motorfit.report.tables import findings_table

    if report.findings:
        print_table(findings_table(report.findings))
    else:
        print("Nothing was found wrong with the logs.")
    if report.assumptions:
        print("\nAssumed:")
        for assumption in report.assumptions:
            print(f"  - {assumption}")
        print()
    print_table(_lessons(report))


def _lessons(report: CheckReport) -> Table:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text("What the runs teach", style="bold"), title_justify="left", box=box.SIMPLE_HEAD)
    for heading in ("of", "parameter", "taught", "by, or the run that would"):
        table.add_column(heading, overflow="fold")
    previous = ""
    for lesson in report.teaches:
        style = {"well": "", "weakly": "yellow", "not": "yellow"}[lesson.strength]
        by = ", ".join(lesson.runs)
        if lesson.advice:
            by = f"{by}; {lesson.advice}" if by else lesson.advice
        name = "" if lesson.of == previous else lesson.of
        table.add_row(Text(name), Text(lesson.parameter), Text(lesson.strength, style=style), Text(by))
        previous = lesson.of
    return table
