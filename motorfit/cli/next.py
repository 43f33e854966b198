"""`motorfit next`: which further run would narrow a quantity most."""

from __future__ import annotations

from typing import Annotated

import typer

from motorfit.cli.options import AsJson, CampaignFile, Interval, Seed
from motorfit.cli.output import print_json, print_table, progress_of


def next_(
    campaign: CampaignFile,
    quantity: Annotated[
        str,
        typer.Option(
            "--for", metavar="QUANTITY", help="A parameter, such as kt or thrust_coefficient[p7x35x3]."
        ),
    ],
    motor: Annotated[
        str | None,
        typer.Option(
            "--motor", metavar="ID", help="The motor it is of, where there are several.", show_default=False
        ),
    ] = None,
    interval: Interval = 0.9,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Rank further runs by what they would teach of a quantity.

    Fits the campaign, simulates every kind of run with its propellers, flywheels and voltages, and tells
    what interval each is expected to leave.

    \b
    Example:  motorfit next campaign.toml --for kt
              motorfit next campaign.toml --for rotor_inertia --motor tern-2807 --json
    """
    from motorfit.cli.work import read_checked

    loaded, logs, _ = read_checked(campaign)

    from motorfit.answers.next_run import next_run

    with progress_of(loaded.title) as report:
        answer = next_run(loaded, logs, quantity, motor=motor, interval=interval, seed=seed, progress=report)
    if as_json:
        print_json(answer.to_json())
        return
    from motorfit.report.next_tables import next_table

    print_table(next_table(answer))
