"""`motorfit report`: one self-contained page with plots."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from motorfit.cli.compare import FitIds, MotorIds, figures_of, named_propeller
from motorfit.cli.options import Interval, Library, library_folder
from motorfit.cli.output import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motorfit.archive.loaded import LoadedFit


def report(
    motors_named: MotorIds,
    out: Annotated[
        Path,
        typer.Option(
            "--out", metavar="FILE.html", dir_okay=False, help="The page; replaced whole or not at all."
        ),
    ],
    library: Library = None,
    propeller: Annotated[
        str | None,
        typer.Option(
            "--propeller",
            metavar="ID_OR_DxPxB",
            help="Of the comparison. [default: the first that all the motors were run with, or have]",
            show_default=False,
        ),
    ] = None,
    voltage: Annotated[
        float | None,
        typer.Option(
            "--voltage",
            metavar="V",
            help="Of curves and comparison, V. [default: as tested]",
            show_default=False,
        ),
    ] = None,
    weights: Annotated[
        str | None,
        typer.Option(
            "--weights", metavar="LIST", help="Asks for a score, such as max_thrust_n=2.", show_default=False
        ),
    ] = None,
    fit: FitIds = None,
    interval: Interval = 0.9,
) -> None:
    """Write one self-contained page: cautions, comparison, parameters, curves, runs, origin.

    The page holds its plots and their script; opening it asks nothing of the network.

    \b
    Example:  motorfit report tern-2807 gull-2306 --out motors.html
              motorfit report tern-2807 --propeller p7x35x3 --voltage 22.2 --out tern.html
    """
    shares = figures_of(weights, "--weights", "max_thrust_n=2")
    from motorfit.answers.companions import companions, fits_of
    from motorfit.answers.compare import compare
    from motorfit.answers.conditions import usual_propeller, usual_voltage
    from motorfit.answers.propeller_tested import library_propellers
    from motorfit.report.page import write_fit_page

    folder = library_folder(library)
    fits: Sequence[LoadedFit] = fits_of(folder, motors_named, tuple(fit or ()))
    chosen = usual_propeller(fits) if propeller is None else named_propeller(propeller)
    volts = usual_voltage(fits, chosen) if voltage is None else voltage
    alone = chosen is None or all(chosen in one.propellers for one in fits)
    comparison = compare(
        fits,
        companions=companions(folder, fits),
        library_propellers=() if alone else library_propellers(folder, fits[0]),
        propeller=chosen if volts is not None else None,
        voltage_v=volts,
        weights=shares,
        interval=interval,
    )
    write_fit_page(fits, out, voltage_v=voltage, interval=interval, comparison=comparison)
    say(f"page {out}")
