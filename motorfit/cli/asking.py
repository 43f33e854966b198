"""Options of the commands that ask what a motor will do: propeller, pack, air, limits; how they are read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from motorfit.answers.facts import Air
    from motorfit.answers.limits import Limits
    from motorfit.answers.machine import LimitChoice
    from motorfit.answers.posterior import FitLike
    from motorfit.answers.propellers import PropellerDraws
    from motorfit.answers.supply import PackChoice

PropellerName = Annotated[
    str,
    typer.Option(
        "--propeller",
        metavar="ID_OR_DxPxB",
        help="A propeller of the fit or the library, diameter x pitch x blades in inches (@MAKE where told), "
        "or a .toml file.",
    ),
]
Voltage = Annotated[
    float | None,
    typer.Option(
        "--voltage", metavar="V", help="Of an ideal supply at the controller, V.", show_default=False
    ),
]
Motors = Annotated[int, typer.Option("--motors", min=1, help="How many like motors run from one pack.")]
Cells = Annotated[
    int | None,
    typer.Option("--cells", min=1, help="Of a lithium-ion polymer pack, in series.", show_default=False),
]
Capacity = Annotated[
    float | None,
    typer.Option("--capacity-mah", metavar="MAH", help="Of the pack, mA h.", show_default=False),
]
Charge = Annotated[float, typer.Option("--charge", metavar="SHARE", help="Of the pack, 0 to 1.")]
CellResistance = Annotated[
    float | None,
    typer.Option(
        "--cell-resistance-ohm",
        metavar="OHM",
        help="Of one cell at 25 degC, ohm. [default: usual for the capacity, with its scatter]",
        show_default=False,
    ),
]
PackTemperature = Annotated[
    float, typer.Option("--pack-temperature", metavar="C", help="Of the cells, degC.")
]
AirTemperature = Annotated[
    float | None,
    typer.Option(
        "--air-temperature", metavar="C", help="degC. [default: the campaign's]", show_default=False
    ),
]
AirPressure = Annotated[
    float | None,
    typer.Option(
        "--air-pressure",
        metavar="HPA",
        help="Where the motor runs, hPa, not reduced to sea level. [default: the campaign's]",
        show_default=False,
    ),
]
AirHumidity = Annotated[
    float | None,
    typer.Option("--air-humidity", metavar="PCT", help="%. [default: the campaign's]", show_default=False),
]
Draws = Annotated[
    int | None,
    typer.Option("--draws", min=1, help="Posterior draws to use. [default: all]", show_default=False),
]
CurrentLimit = Annotated[
    str, typer.Option("--current-limit", metavar="A|none|bench", help="Limit of the motor current, A.")
]
WindingTemperature = Annotated[
    float, typer.Option("--winding-temperature", metavar="C", help="Of the winding, degC.")
]
MagnetTemperature = Annotated[
    float, typer.Option("--magnet-temperature", metavar="C", help="Of the magnets, degC.")
]
MaxSpeed = Annotated[
    float | None,
    typer.Option(
        "--max-propeller-speed-rpm",
        metavar="RPM",
        help="The propeller maker's limit; passing it is warned of.",
        show_default=False,
    ),
]
MaxCurrent = Annotated[
    float | None,
    typer.Option(
        "--max-current-a",
        metavar="A",
        help="Of motor or controller; passing it is warned of. [default: the bench's limit]",
        show_default=False,
    ),
]
MaxPackCurrent = Annotated[
    float | None,
    typer.Option(
        "--max-pack-current-a",
        metavar="A",
        help="Of the whole pack; passing it is warned of.",
        show_default=False,
    ),
]


WindingLimit = Annotated[
    float,
    typer.Option(
        "--winding-limit", metavar="C", help="Winding temperature not to be passed, degC; no maker's figure."
    ),
]


def limits_of(
    speed_rpm: float | None, current_a: float | None, pack_current_a: float | None, winding_c: float = 120.0
) -> Limits:
    """Return the limits asked for."""
    from motorfit.answers.limits import Limits

    return Limits(speed_rpm, current_a, pack_current_a, winding_c)


def numbers_of(text: str | None, option: str, example: str) -> tuple[float, ...] | None:
    """Read numbers separated by commas, or leave with wrong usage."""
    if text is None:
        return None
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: numbers separated by commas are allowed, such as {example}.", param_hint=option
        ) from None


def limit_of(text: str) -> LimitChoice:
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


def air_of(
    fit: FitLike, temperature_c: float | None, pressure_hpa: float | None, humidity_pct: float | None
) -> Air | None:
    """Return the air asked for, the campaign's where something is left out; None where all is."""
    from motorfit.answers.facts import asked_air

    return asked_air(fit, temperature_c, pressure_hpa, humidity_pct)


def pack_of(
    cells: int | None,
    capacity_mah: float | None,
    charge: float,
    cell_resistance_ohm: float | None,
    temperature_c: float,
) -> PackChoice | None:
    """Return the pack asked for, None where none was; half a pack is wrong usage."""
    if cells is None and capacity_mah is None:
        if cell_resistance_ohm is not None:
            raise typer.BadParameter(
                "belongs to a pack: give --cells and --capacity-mah too.", param_hint="--cell-resistance-ohm"
            )
        return None
    if cells is None or capacity_mah is None:
        raise typer.BadParameter(
            "a pack needs both --cells and --capacity-mah.",
            param_hint="--cells" if cells is None else "--capacity-mah",
        )
    from motorfit.answers.supply import PackChoice

    return PackChoice(cells, capacity_mah, charge, cell_resistance_ohm, temperature_c)


def one_supply(voltage: float | None, pack: PackChoice | None, motors: int = 1) -> None:
    """Leave with wrong usage unless there is a voltage or a pack, and not both; motors share packs only."""
    if pack is None and motors != 1:
        raise typer.BadParameter(
            "motors share a pack: give --cells and --capacity-mah. On a voltage that never sags each motor "
            "does what it does alone.",
            param_hint="--motors",
        )
    if (voltage is None) == (pack is None):
        raise typer.BadParameter(
            "give either a voltage or a pack (--cells and --capacity-mah).", param_hint="--voltage"
        )


def fit_of(library: Path | None, motor: str, fit: str | None) -> FitLike:
    """Load a fit from the library."""
    from motorfit.archive.store import load_fit
    from motorfit.cli.options import library_folder

    return load_fit(library_folder(library), motor, fit)


def propeller_of(library: Path | None, fit: FitLike, text: str) -> PropellerDraws:
    """Find a propeller by id, geometry or the path of its description."""
    from motorfit.answers.propeller_search import find_propeller
    from motorfit.answers.propeller_stated import read_propeller
    from motorfit.cli.options import library_folder

    told = read_propeller(Path(text)) if text.endswith(".toml") and text not in fit.propellers else text
    return find_propeller(fit, told, library_folder(library))
