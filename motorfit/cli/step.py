"""`motorfit step`: how fast a motor speeds up and slows down."""

from __future__ import annotations

from typing import Annotated

import typer

from motorfit.cli.asking import (
    AirHumidity,
    AirPressure,
    AirTemperature,
    Capacity,
    CellResistance,
    Cells,
    Charge,
    CurrentLimit,
    Draws,
    MagnetTemperature,
    MaxCurrent,
    MaxPackCurrent,
    MaxSpeed,
    Motors,
    PackTemperature,
    PropellerName,
    Voltage,
    WindingTemperature,
    air_of,
    fit_of,
    limit_of,
    limits_of,
    numbers_of,
    one_supply,
    pack_of,
    propeller_of,
)
from motorfit.cli.options import AsJson, FitId, Interval, Library, MotorId
from motorfit.cli.output import print_json, print_table


def step(
    motor: MotorId,
    propeller: PropellerName,
    start: Annotated[
        float, typer.Option("--from", metavar="X", help="One throttle, 0 to 1.", show_default=False)
    ],
    end: Annotated[
        float, typer.Option("--to", metavar="X", help="The other throttle, 0 to 1.", show_default=False)
    ],
    voltage: Voltage = None,
    cells: Cells = None,
    capacity_mah: Capacity = None,
    charge: Charge = 1.0,
    cell_resistance_ohm: CellResistance = None,
    pack_temperature: PackTemperature = 25.0,
    motors: Motors = 1,
    times: Annotated[
        str | None,
        typer.Option(
            "--times",
            metavar="LIST",
            help="Seconds after the jump, for speed over time with --json, such as 0,0.05,0.1.",
            show_default=False,
        ),
    ] = None,
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
    """Say how fast a motor speeds up and slows down between two throttles.

    Both ways are answered apart: a controller may brake less than it drives. Times run from 10 to 90 % of
    the change of speed, each way from its settled speed.

    \b
    Example:  motorfit step tern-2807 --propeller p7x35x3 --voltage 22.2 --from 0.1 --to 0.5
    """
    limit, pack = (
        limit_of(current_limit),
        pack_of(cells, capacity_mah, charge, cell_resistance_ohm, pack_temperature),
    )
    one_supply(voltage, pack, motors)
    wanted = numbers_of(times, "--times", "0,0.05,0.1") or ()
    from motorfit.answers.step import step as step_of

    stored = fit_of(library, motor, fit)
    answer = step_of(
        stored,
        propeller=propeller_of(library, stored, propeller),
        voltage_v=voltage,
        from_throttle=start,
        to_throttle=end,
        times_s=wanted,
        pack=pack,
        motors=motors,
        draws=draws,
        interval=interval,
        current_limit=limit,
        air=air_of(stored, air_temperature, air_pressure, air_humidity),
        winding_temperature_c=winding_temperature,
        magnet_temperature_c=magnet_temperature,
        limits=limits_of(max_propeller_speed_rpm, max_current_a, max_pack_current_a),
    )
    if as_json:
        print_json(answer.to_json())
        return
    from motorfit.report.answer_tables import step_table

    print_table(step_table(answer))
