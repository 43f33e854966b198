"""`motorfit predict`: curves with bands, over throttle or another axis."""

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
    WindingLimit,
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


def predict(
    motor: MotorId,
    propeller: PropellerName,
    voltage: Voltage = None,
    cells: Cells = None,
    capacity_mah: Capacity = None,
    charge: Charge = 1.0,
    cell_resistance_ohm: CellResistance = None,
    pack_temperature: PackTemperature = 25.0,
    motors: Motors = 1,
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
    against: Annotated[
        str,
        typer.Option(
            "--against",
            metavar="AXIS",
            help="throttle, speed, torque, thrust, mechanical_power, electrical_power or current.",
        ),
    ] = "throttle",
    points: Annotated[
        str | None,
        typer.Option(
            "--points",
            metavar="LIST",
            help="Points of that axis, of one motor, in rpm, N m, N, W or A.",
            show_default=False,
        ),
    ] = None,
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
    winding_limit: WindingLimit = 120.0,
    interval: Interval = 0.9,
    as_json: AsJson = False,
) -> None:
    """Predict curves with bands, over throttle or another axis.

    Speed, thrust, torque, current, power and efficiency, from an ideal supply (--voltage) or a pack
    (--cells, --capacity-mah) that one motor or more run from. Every answer outside the tested range says so.
    A prediction warns, it never certifies.

    \b
    Example:  motorfit predict tern-2807 --propeller p7x35x3 --voltage 22.2
              motorfit predict tern-2807 --propeller 8x4x2 --voltage 14.8 --throttle 0.3,0.5,1 --json
              motorfit predict tern-2807 --propeller p7x35x3 --cells 6 --capacity-mah 1300 --motors 4 \\
                       --against thrust --points 2,4,8
    """
    grid, wanted = (
        numbers_of(throttle, "--throttle", "0.2,0.4"),
        numbers_of(points, "--points", "2,4,8"),
    )
    limit = limit_of(current_limit)
    pack = pack_of(cells, capacity_mah, charge, cell_resistance_ohm, pack_temperature)
    one_supply(voltage, pack, motors)
    from motorfit.answers.predict import predict as predict_curves

    stored = fit_of(library, motor, fit)
    prediction = predict_curves(
        stored,
        propeller=propeller_of(library, stored, propeller),
        voltage_v=voltage,
        throttle=grid,
        against=against,
        points=wanted,
        pack=pack,
        motors=motors,
        draws=draws,
        interval=interval,
        current_limit=limit,
        air=air_of(stored, air_temperature, air_pressure, air_humidity),
        winding_temperature_c=winding_temperature,
        magnet_temperature_c=magnet_temperature,
        limits=limits_of(max_propeller_speed_rpm, max_current_a, max_pack_current_a, winding_limit),
    )
    if as_json:
        print_json(prediction.to_json())
        return
    from motorfit.report.tables import prediction_table

    print_table(prediction_table(prediction))
