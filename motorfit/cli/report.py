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

    from motorfit.answers.propeller_stated import StatedPropeller
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
    from motorfit.answers.companions import fits_of

    folder = library_folder(library)
    fits = fits_of(folder, motors_named, tuple(fit or ()))
    chosen = None if propeller is None else named_propeller(propeller)
    write_page(fits, folder, out, propeller=chosen, voltage_v=voltage, weights=shares, interval=interval)
    say(f"page {out}")


def write_page(
    fits: Sequence[LoadedFit],
    folder: Path,
    out: Path,
    *,
    propeller: str | StatedPropeller | None = None,
    voltage_v: float | None = None,
    weights: dict[str, float] | None = None,
    interval: float = 0.9,
) -> None:
    """Compare fits of a library and write their page; propeller and voltage as tested where not stated."""
    from motorfit.answers.companions import companions
    from motorfit.answers.compare import compare
    from motorfit.answers.conditions import usual_propeller, usual_voltage
    from motorfit.answers.propeller_tested import library_propellers
    from motorfit.report.page import write_fit_page

    chosen = usual_propeller(fits) if propeller is None else propeller
    volts = usual_voltage(fits, chosen) if voltage_v is None else voltage_v
    alone = chosen is None or all(chosen in one.propellers for one in fits)
    comparison = compare(
        fits,
        companions=companions(folder, fits),
        library_propellers=() if alone else library_propellers(folder, fits[0]),
        propeller=chosen if volts is not None else None,
        voltage_v=volts,
        weights=weights,
        interval=interval,
    )
    write_fit_page(fits, out, voltage_v=voltage_v, interval=interval, comparison=comparison)
