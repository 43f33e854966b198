"""`motorfit holdout`: fit without a run, predict it, and score the prediction."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from motorfit.cli.options import AsJson, Seed
from motorfit.cli.output import print_json, print_table, progress_of


class Leave(StrEnum):
    """What is left out, one after another."""

    run = "run"
    pair = "pair"
    propeller = "propeller"
    voltage = "voltage"


def holdout(
    campaigns: Annotated[
        list[Path], typer.Argument(metavar="CAMPAIGN...", help="Campaign files.", show_default=False)
    ],
    run_id: Annotated[
        str | None, typer.Option("--run", metavar="ID", help="The run to leave out.", show_default=False)
    ] = None,
    leave: Annotated[
        Leave | None,
        typer.Option(
            "--leave",
            help="Leave out every one in turn; a pair is a motor with a propeller.",
            show_default=False,
        ),
    ] = None,
    seed: Seed = 0,
    draws: Annotated[int, typer.Option("--draws", min=100, max=100_000, help="Of each refit.")] = 1600,
    as_json: AsJson = False,
) -> None:
    """Fit without a run, and score the prediction of it.

    Coverage of bands, error and score by channel. With --leave a table over every run, propeller or
    voltage of the campaigns, each predicted by a fit of the others.

    \b
    Example:  motorfit holdout campaign.toml --run tern-ramp
              motorfit holdout spring.toml autumn.toml --leave propeller --json
    """
    if (run_id is None) == (leave is None):
        raise typer.BadParameter("give one of --run ID and --leave KIND.", param_hint="--run / --leave")
    if run_id is not None and len(campaigns) > 1:
        raise typer.BadParameter("--run names a run of one campaign; give one.", param_hint="CAMPAIGN")
    from motorfit.cli.work import read_checked

    read = [read_checked(path) for path in campaigns]

    from motorfit.answers.holdout import holdout as hold_out
    from motorfit.answers.holdout import joined

    answers = []
    for campaign, logs, _ in read:
        with progress_of(campaign.title) as report:
            answers.append(
                hold_out(
                    campaign, logs, run=run_id, leave=None if leave is None else leave.value, seed=seed,
                    draws=draws, progress=report,
                )
            )  # fmt: skip
    answer = joined(answers)
    if as_json:
        print_json(answer.to_json())
        return
    from motorfit.report.holdout_tables import holdout_table

    print_table(holdout_table(answer))
