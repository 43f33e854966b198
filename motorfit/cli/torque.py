"""`motorfit torque`: torque against speed at a voltage."""

from __future__ import annotations

from typing import Annotated

import typer

from motorfit.cli.asking import (
    Capacity,
    CellResistance,
    Cells,
    Charge,
    CurrentLimit,
    Draws,
    MagnetTemperature,
    PackTemperature,
    Voltage,
    WindingTemperature,
    fit_of,
    limit_of,
    numbers_of,
    one_supply,
    pack_of,
)
from motorfit.cli.options import AsJson, FitId, Interval, Library, MotorId
from motorfit.cli.output import print_json, print_table


def torque(
    motor: MotorId,
    voltage: Voltage = None,
    cells: Cells = None,
    capacity_mah: Capacity = None,
    charge: Charge = 1.0,
    cell_resistance_ohm: CellResistance = None,
    pack_temperature: PackTemperature = 25.0,
    throttle: Annotated[float, typer.Option("--throttle", metavar="X", help="0 to 1.")] = 1.0,
    points: Annotated[
        str | None,
        typer.Option(
            "--points",
            metavar="LIST",
            help="Speeds in rpm. [default: from stall to no load]",
            show_default=False,
        ),
    ] = None,
    library: Library = None,
    fit: FitId = None,
    draws: Draws = None,
    current_limit: CurrentLimit = "bench",
    winding_temperature: WindingTemperature = 25.0,
    magnet_temperature: MagnetTemperature = 25.0,
    interval: Interval = 0.9,
    as_json: AsJson = False,
) -> None:
    """Show a motor's torque against speed at a voltage.

    With no-load and stall points, peak torque, slope, peak power and peak efficiency, all with intervals.

    \b
    Example:  motorfit torque tern-2807 --voltage 22.2
              motorfit torque tern-2807 --voltage 22.2 --current-limit none --points 0,10000,20000 --json
    """
    grid, limit = numbers_of(points, "--points", "0,10000,20000"), limit_of(current_limit)
    pack = pack_of(cells, capacity_mah, charge, cell_resistance_ohm, pack_temperature)
    one_supply(voltage, pack)
    from motorfit.answers.shaft import torque_curve

    answer = torque_curve(
        fit_of(library, motor, fit),
        voltage_v=voltage,
        pack=pack,
        throttle=throttle,
        speed_rpm=grid,
        draws=draws,
        interval=interval,
        current_limit=limit,
        winding_temperature_c=winding_temperature,
        magnet_temperature_c=magnet_temperature,
    )
    if as_json:
        print_json(answer.to_json())
        return
    from motorfit.report.answer_tables import torque_table

    print_table(torque_table(answer))
