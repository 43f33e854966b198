"""Options that several commands share, defined once so that they read the same everywhere."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

LIBRARY_VARIABLE = "MOTORFIT_LIBRARY"

Library = Annotated[
    Path | None,
    typer.Option(
        "--library",
        metavar="DIR",
        file_okay=False,
        help=f"Folder of fits. [default: ${LIBRARY_VARIABLE}, else the user's data folder]",
        show_default=False,
    ),
]
AsJson = Annotated[
    bool, typer.Option("--json", help="Print JSON for machines, and nothing else, on standard output.")
]
FitId = Annotated[
    str | None,
    typer.Option(
        "--fit", metavar="ID", help="A stored fit. [default: the motor's latest]", show_default=False
    ),
]
Interval = Annotated[float, typer.Option("--interval", help="Probability inside every interval.")]
MotorId = Annotated[
    str, typer.Argument(metavar="MOTOR", help="Id of a motor in the library.", show_default=False)
]
CampaignFile = Annotated[
    Path, typer.Argument(metavar="CAMPAIGN", help="The campaign's TOML file.", show_default=False)
]
Seed = Annotated[
    int, typer.Option("--seed", min=0, max=2**63 - 1, help="Same campaign, seed and version: same posterior.")
]


def library_folder(given: Path | None) -> Path:
    """Return the library to use: the option, else the variable, else the user's data folder."""
    if given is not None:
        return given
    named = os.environ.get(LIBRARY_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("motorfit", appauthor=False) / "library"
