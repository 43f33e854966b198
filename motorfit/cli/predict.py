"""`motorfit predict`: curves over throttle with bands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from motorfit.cli.options import AsJson, FitId, Interval, Library, MotorId, library_folder
from motorfit.cli.output import print_json, print_table

if TYPE_CHECKING:
    from motorfit.answers.machine import LimitChoice


def predict(
    motor: MotorId,
    propeller: Annotated[
        str,
        typer.Option(
            "--propeller",
            metavar="ID_OR_DxPxB",
            help="A propeller of the fit, or diameter x pitch x blades in inches.",
        ),
    ],
    voltage: Annotated[
        float, typer.Option("--voltage", metavar="V", help="Of an ideal supply at the controller, V.")
    ],
    library: Library = None,
    fit: FitId = None,
    throttle: Annotated[
        str | None,
        typer.Option(
            "--throttle",
            metavar="LIST",
            help="Points from 0 to 1, such as 0.2,0.4. [default: 0.05 to 1]",
            show_default=False,
        ),
    ] = None,
    draws: Annotated[
        int | None,
        typer.Option("--draws", min=1, help="Posterior draws to use. [default: all]", show_default=False),
    ] = None,
    current_limit: Annotated[
        str, typer.Option("--current-limit", metavar="A|none|bench", help="Limit of the motor current, A.")
    ] = "bench",
    winding_temperature: Annotated[
        float, typer.Option("--winding-temperature", metavar="C", help="Of the winding, degC.")
    ] = 25.0,
    magnet_temperature: Annotated[
        float, typer.Option("--magnet-temperature", metavar="C", help="Of the magnets, degC.")
    ] = 25.0,
    interval: Interval = 0.9,
    as_json: AsJson = False,
) -> None:
    """Predict curves over throttle, with bands.

    Speed, thrust, torque, current, power and efficiency; every answer outside the tested range says so.
    A prediction warns, it never certifies.

    \b
    Example:  motorfit predict tern-2807 --propeller p7x35x3 --voltage 22.2
              motorfit predict tern-2807 --propeller 8x4x2 --voltage 14.8 --throttle 0.3,0.5,1 --json
    """
    points = _numbers(throttle)
    limit = _limit(current_limit)
    from motorfit.answers.predict import predict as predict_curves
    from motorfit.archive.store import load_fit

    prediction = predict_curves(
        load_fit(library_folder(library), motor, fit),
        propeller=propeller,
        voltage_v=voltage,
        throttle=points,
        draws=draws,
        interval=interval,
        current_limit=limit,
        winding_temperature_c=winding_temperature,
        magnet_temperature_c=magnet_temperature,
    )
    if as_json:
        print_json(prediction.to_json())
        return
    from motorfit.report.tables import prediction_table

    print_table(prediction_table(prediction))


def _numbers(text: str | None) -> tuple[float, ...] | None:
    if text is None:
        return None
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: numbers from 0 to 1 separated by commas are allowed, such as 0.2,0.4.",
            param_hint="--throttle",
        ) from None


def _limit(text: str) -> LimitChoice:
    """Return amperes, "bench" for the bench's controller, or None for no limit."""
    if text in ("bench", "none"):
        return "bench" if text == "bench" else None
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: amperes, 'none' for no limit or 'bench' for the bench's controller are allowed.",
            param_hint="--current-limit",
        ) from None
