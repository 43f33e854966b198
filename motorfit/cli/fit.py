"""`motorfit fit`: from a campaign to stored posteriors."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from motorfit.cli.options import AsJson, CampaignFile, Library, Seed, library_folder
from motorfit.cli.output import print_json, print_table, say


class Method(StrEnum):
    """How the posterior is drawn."""

    auto = "auto"
    fast = "fast"
    ensemble = "ensemble"


def fit(
    campaign: CampaignFile,
    library: Library = None,
    method: Annotated[
        Method,
        typer.Option(
            "--method", help="fast: importance-sampled optimum; ensemble: MCMC; auto: fast where it is sound."
        ),
    ] = Method.auto,
    seed: Seed = 0,
    draws: Annotated[
        int, typer.Option("--draws", min=100, max=100_000, help="Posterior draws to keep.")
    ] = 4000,
    as_json: AsJson = False,
) -> None:
    """Fit a campaign and store its posteriors.

    All motors of the campaign together, so that what they share is learned once.

    \b
    Example:  motorfit fit campaign.toml
              motorfit fit campaign.toml --library ./fits --method ensemble --seed 7
    """
    from motorfit.cli.work import fit_and_store, tell_warnings

    folder = library_folder(library)
    _, stored, warnings = fit_and_store(campaign, folder, method=method.value, seed=seed, draws=draws)
    tell_warnings(warnings)

    from motorfit.answers.show import summarise
    from motorfit.archive.store import load_fit

    # From the file, not from memory: what is shown is what was stored.
    summaries = [summarise(load_fit(folder, one.motor, one.fit_id)) for one in stored]
    if as_json:
        print_json(
            {
                "library": str(folder),
                "fits": [one.to_json() for one in stored],
                "motors": [summary.to_json() for summary in summaries],
                "warnings": [str(finding) for finding in warnings],
            }
        )
        return
    from motorfit.report.tables import fit_table

    print_table(fit_table(summaries))
    for one in stored:
        say(f"stored {one.path}")
