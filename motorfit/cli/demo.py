"""`motorfit demo`: the main job in one go, on a simulated bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motorfit.cli.options import AsJson, Library, Seed
from motorfit.cli.output import print_json, print_table, say


def demo(
    out: Annotated[
        Path,
        typer.Option("--out", metavar="DIR", file_okay=False, help="Folder for the campaign, fits and page."),
    ] = Path("motorfit-demo"),
    library: Library = None,
    seed: Seed = 1,
    as_json: AsJson = False,
) -> None:
    """Simulate a bench, fit it, and write a page.

    The main job in one go: a campaign of several motors and propellers, its posteriors, a table with
    intervals and a self-contained page with plots, all in one folder.

    \b
    Example:  motorfit demo
              motorfit demo --out /tmp/demo --seed 4
    """
    from motorfit.cli.work import fit_and_store, tell_warnings
    from motorfit.synthetic.demo import write_demo

    say(f"Simulating a bench in {out}")
    campaign_file = write_demo(out / "campaign", seed)
    folder = out / "library" if library is None else library
    _, stored, warnings = fit_and_store(campaign_file, folder, method="auto", seed=seed, draws=4000)
    tell_warnings(warnings)

    from motorfit.answers.show import summarise
    from motorfit.archive.store import load_fit
    from motorfit.cli.report import write_page

    fits = [load_fit(folder, one.motor, one.fit_id) for one in stored]
    summaries = [summarise(fit) for fit in fits]
    page = out / "report.html"
    write_page(fits, folder, page)
    if as_json:
        print_json(
            {
                "campaign": str(campaign_file),
                "library": str(folder),
                "page": str(page),
                "fits": [one.to_json() for one in stored],
                "motors": [summary.to_json() for summary in summaries],
            }
        )
        return
    from motorfit.report.tables import fit_table

    print_table(fit_table(summaries))
    say(f"campaign  {campaign_file}\nlibrary   {folder}\npage      {page}")
