"""`motorfit compare`: is the difference real."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from motorfit.cli.asking import (
    AirHumidity,
    AirPressure,
    AirTemperature,
    CurrentLimit,
    MagnetTemperature,
    WindingTemperature,
    air_of,
    limit_of,
)
from motorfit.cli.options import AsJson, Interval, Library, library_folder
from motorfit.cli.output import print_json, print_table

if TYPE_CHECKING:
    from motorfit.answers.claims import ClaimedTable
    from motorfit.answers.comparison import Comparison
    from motorfit.answers.propeller_stated import StatedPropeller

MotorIds = Annotated[
    list[str], typer.Argument(metavar="MOTOR...", help="Ids of motors in the library.", show_default=False)
]
FitIds = Annotated[
    list[str] | None,
    typer.Option(
        "--fit", metavar="ID", help="A stored fit of one of the motors; again for more.", show_default=False
    ),
]


def compare(
    motors_named: MotorIds,
    library: Library = None,
    propeller: Annotated[
        str | None,
        typer.Option(
            "--propeller",
            metavar="ID_OR_DxPxB",
            help="The same for all: an id, diameter x pitch x blades in inches, or a file that describes it.",
            show_default=False,
        ),
    ] = None,
    voltage: Annotated[
        float | None,
        typer.Option("--voltage", metavar="V", help="Of an ideal supply, V.", show_default=False),
    ] = None,
    metric: Annotated[
        str | None,
        typer.Option(
            "--metric",
            metavar="LIST",
            help="Such as kv,max_thrust_n. [default: parameters, and what a propeller allows]",
            show_default=False,
        ),
    ] = None,
    margin: Annotated[
        str | None,
        typer.Option(
            "--margin",
            metavar="SHARE",
            help="Relative difference that matters: 0.02, or kv=0.005,kt=0.03. [default: by metric]",
            show_default=False,
        ),
    ] = None,
    weights: Annotated[
        str | None,
        typer.Option(
            "--weights",
            metavar="LIST",
            help="Asks for a score, such as max_thrust_n=2,peak_efficiency=1.",
            show_default=False,
        ),
    ] = None,
    claim: Annotated[
        list[str] | None,
        typer.Option(
            "--claim",
            metavar="[MOTOR:]METRIC=FIGURE",
            help="A claimed figure to check, in the metric's unit; again for more.",
            show_default=False,
        ),
    ] = None,
    claims: Annotated[
        list[str] | None,
        typer.Option(
            "--claims",
            metavar="[MOTOR:]FILE",
            help="A table of claimed points, or a campaign file with such; again for more.",
            show_default=False,
        ),
    ] = None,
    models: Annotated[
        bool, typer.Option("--models", help="Answer for the motors' models, not for the units tested.")
    ] = False,
    fit: FitIds = None,
    start: Annotated[
        float, typer.Option("--from", metavar="X", help="Step of rise and fall times: from.")
    ] = 0.1,
    end: Annotated[float, typer.Option("--to", metavar="X", help="Step of rise and fall times: to.")] = 0.5,
    mass_g: Annotated[
        float | None,
        typer.Option(
            "--mass-g", metavar="G", help="Of the aircraft, for hover_power_w, g.", show_default=False
        ),
    ] = None,
    motors: Annotated[int, typer.Option("--motors", min=1, help="Of the aircraft, for hover_power_w.")] = 1,
    current_limit: CurrentLimit = "bench",
    air_temperature: AirTemperature = None,
    air_pressure: AirPressure = None,
    air_humidity: AirHumidity = None,
    winding_temperature: WindingTemperature = 25.0,
    magnet_temperature: MagnetTemperature = 25.0,
    interval: Interval = 0.9,
    as_json: AsJson = False,
) -> None:
    """Compare motors: differences with what they share taken out.

    Any number of motors on any figure, at the same propeller and voltage: how large a difference is, how
    sure, and whether it matters. "Cannot be told apart" is an answer. Claimed figures are checked on the way.

    \b
    Example:  motorfit compare tern-2807 gull-2306 --propeller p7x35x3 --voltage 22.2
              motorfit compare tern-2807 gull-2306 --metric kv,rotor_inertia --margin kv=0.005
              motorfit compare tern-2807 --propeller p7x35x3 --voltage 22.2 --claim max_thrust_n=12.5
    """
    limit = limit_of(current_limit)
    margins, shares = _margin(margin), figures_of(weights, "--weights", "max_thrust_n=2,peak_efficiency=1")
    figures = dict(_figure(text, "--claim", "max_thrust_n=12.5") for text in claim or [])
    names = tuple(part.strip() for part in metric.split(",") if part.strip()) if metric else ()

    from motorfit.answers.companions import companions, fits_of
    from motorfit.answers.compare import compare as compare_fits
    from motorfit.answers.propeller_tested import library_propellers

    folder = library_folder(library)
    fits = fits_of(folder, motors_named, tuple(fit or ()))
    asked = named_propeller(propeller)
    # Reading the whole library is for a propeller that a motor's own campaign did not test.
    alone = asked is None or all(asked in one.propellers for one in fits)
    tested = () if alone else library_propellers(folder, fits[0])
    answer = compare_fits(
        fits,
        companions=companions(folder, fits),
        library_propellers=tested,
        propeller=asked,
        voltage_v=voltage,
        metrics=names,
        margin=margins,
        weights=shares,
        claims=figures,
        tables=_tables(claims or [], motors_named),
        models=models,
        air=air_of(fits[0], air_temperature, air_pressure, air_humidity),
        current_limit=limit,
        from_throttle=start,
        to_throttle=end,
        mass_g=mass_g,
        motors=motors,
        winding_temperature_c=winding_temperature,
        magnet_temperature_c=magnet_temperature,
        interval=interval,
    )
    if as_json:
        print_json(answer.to_json())
        return
    _print(answer)


def _print(answer: Comparison) -> None:
    from motorfit.report.comparison_tables import comparison_tables

    print_table(*comparison_tables(answer))


def _margin(text: str | None) -> float | dict[str, float] | None:
    if text is None:
        return None
    if "=" in text:
        return figures_of(text, "--margin", "kv=0.005")
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: a share such as 0.02, or shares by metric such as kv=0.005, are allowed.",
            param_hint="--margin",
        ) from None


def figures_of(text: str | None, option: str, example: str) -> dict[str, float] | None:
    """Read NAME=FIGURE,NAME=FIGURE, or leave with wrong usage."""
    if text is None:
        return None
    return dict(_figure(part, option, example) for part in text.split(",") if part.strip())


def _figure(text: str, option: str, example: str) -> tuple[str, float]:
    # The last sign of equality: a metric's own name may hold one, as in thrust_n@throttle=0.5.
    name, sign, figure = text.strip().rpartition("=")
    try:
        if not sign or not name:
            raise ValueError
        return name.strip(), float(figure)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: NAME=FIGURE is allowed, such as {example}.", param_hint=option
        ) from None


def named_propeller(text: str | None) -> str | StatedPropeller | None:
    """Return the name of a propeller, or what a file says of one."""
    if text is None or not text.lower().endswith(".toml"):
        return text
    from motorfit.answers.propeller_stated import read_propeller

    return read_propeller(Path(text))


def _tables(claims: list[str], motors: list[str]) -> list[tuple[str, ClaimedTable]]:
    from motorfit.answers.claims import read_claims

    found: list[tuple[str, ClaimedTable]] = []
    for text in claims:
        owner, sign, rest = text.partition(":")
        named = bool(sign) and owner in motors
        motor, path = (owner, rest) if named else (motors[0], text)
        found += [(motor, table) for table in read_claims(Path(path), motor)]
    return found
