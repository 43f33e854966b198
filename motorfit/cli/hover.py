"""`motorfit hover`: what hovering takes, and how long a pack gives it."""

from __future__ import annotations

from typing import Annotated

import typer

from motorfit.cli.asking import (
    AirHumidity,
    AirPressure,
    AirTemperature,
    CellResistance,
    Charge,
    CurrentLimit,
    Draws,
    MagnetTemperature,
    MaxCurrent,
    MaxPackCurrent,
    MaxSpeed,
    PackTemperature,
    PropellerName,
    WindingTemperature,
    air_of,
    fit_of,
    limit_of,
    limits_of,
    propeller_of,
)
from motorfit.cli.options import AsJson, FitId, Interval, Library, MotorId
from motorfit.cli.output import print_json, print_table


def hover(
    motor: MotorId,
    propeller: PropellerName,
    cells: Annotated[int, typer.Option("--cells", min=1, help="Of a lithium-ion polymer pack, in series.")],
    capacity_mah: Annotated[float, typer.Option("--capacity-mah", metavar="MAH", help="Of the pack, mA h.")],
    mass_g: Annotated[float, typer.Option("--mass-g", metavar="G", help="All-up mass, pack and all, g.")],
    motors: Annotated[int, typer.Option("--motors", min=1, help="How many like motors carry it.")] = 4,
    reserve: Annotated[
        float, typer.Option("--reserve", metavar="SHARE", help="Charge kept back at the end, 0 to 1.")
    ] = 0.2,
    charge: Charge = 1.0,
    cell_resistance_ohm: CellResistance = None,
    pack_temperature: PackTemperature = 25.0,
    winding_limit: Annotated[
        float,
        typer.Option(
            "--winding-limit", metavar="C", help="Winding temperature for the continuous current, degC."
        ),
    ] = 120.0,
    library: Library = None,
    fit: FitId = None,
    draws: Draws = None,
    current_limit: CurrentLimit = "bench",
    air_temperature: AirTemperature = None,
    air_pressure: AirPressure = None,
    air_humidity: AirHumidity = None,
    winding_temperature: WindingTemperature = 25.0,
    magnet_temperature: MagnetTemperature = 25.0,
    max_propeller_speed_rpm: MaxSpeed = None,
    max_current_a: MaxCurrent = None,
    max_pack_current_a: MaxPackCurrent = None,
    interval: Interval = 0.9,
    as_json: AsJson = False,
) -> None:
    """Say what hovering takes, and for how long a pack gives it.

    Throttle, currents, power, flight time down to the reserve; winding temperature where heat was learned.
    Static thrust only: no airframe in the wash, no wind. It warns, it never certifies.

    \b
    Example:  motorfit hover tern-2807 --propeller p7x35x3 --cells 6 --capacity-mah 1300 --mass-g 900
    """
    limit = limit_of(current_limit)
    from motorfit.answers.hover import hover as hover_of
    from motorfit.answers.supply import PackChoice

    stored = fit_of(library, motor, fit)
    answer = hover_of(
        stored,
        propeller=propeller_of(library, stored, propeller),
        pack=PackChoice(cells, capacity_mah, charge, cell_resistance_ohm, pack_temperature),
        mass_g=mass_g,
        motors=motors,
        reserve=reserve,
        draws=draws,
        interval=interval,
        current_limit=limit,
        air=air_of(stored, air_temperature, air_pressure, air_humidity),
        winding_temperature_c=winding_temperature,
        magnet_temperature_c=magnet_temperature,
        winding_limit_c=winding_limit,
        limits=limits_of(max_propeller_speed_rpm, max_current_a, max_pack_current_a),
    )
    if as_json:
        print_json(answer.to_json())
        return
    from motorfit.report.answer_tables import hover_table

    print_table(hover_table(answer))
