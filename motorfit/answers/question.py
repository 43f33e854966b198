"""What every prediction starts from: draws of motor, propeller and air, and what is to be said of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.bands import Band
from motorfit.answers.cautions import Caution, parameter_cautions, propeller_cautions
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike, campaign_air
from motorfit.answers.machine import REFERENCE_C, LimitChoice, drive_of
from motorfit.answers.posterior import FitLike, FloatArray, count, parameter
from motorfit.answers.propellers import PropellerDraws, load_of, propeller_draws
from motorfit.answers.remember import remembered
from motorfit.answers.supply import PackChoice, Supply, check_motors, ideal_supply, pack_supply
from motorfit.inference.priors import BELIEFS
from motorfit.physics.air import air_density
from motorfit.physics.drive import Drive, Load
from motorfit.physics.propeller import inertia
from motorfit.physics.rows import R_RS, stacked

RPM_PER_RAD_S = 60.0 / (2.0 * math.pi)
GRAVITY = 9.80665  # m/s², standard: turns newtons into grams of thrust


@dataclass(frozen=True)
class Machine:
    """Motor, controller, supply and propeller of a question, draw by draw.

    ``rows`` are the draws taken of the fit (None: all); ``warnings`` what is to be said whatever is asked.
    """

    fit: FitLike
    propeller: PropellerDraws
    supply: Supply
    air: AirLike
    drive: Drive
    load: Load
    rows: NDArray[np.intp] | None
    draws: int
    warnings: tuple[Caution, ...]
    columns: FloatArray
    """Drive and load as the steady solver takes them (`motorfit.physics.rows.stacked`)."""

    def fed_by(self, supply: Supply) -> Machine:
        """Return the machine on another supply."""
        if np.ndim(supply.resistance) == 0 and supply.resistance == self.supply.resistance:
            return replace(self, supply=supply)
        columns = self.columns.copy()
        columns[R_RS] = supply.resistance
        drive = replace(self.drive, source_resistance=supply.resistance)
        return replace(self, supply=supply, drive=drive, columns=columns)

    def own(self, name: str, otherwise: float) -> FloatArray:
        """Return a parameter of the motor, (draws,); ``otherwise`` where the fit does without it."""
        values = parameter(self.fit, name)
        if values is None:
            return np.full(self.draws, otherwise)
        return values if self.rows is None else values[self.rows]


_NONE = Supply(0.0, 0.0)


def machine_of(
    fit: FitLike,
    propeller: str | PropellerDraws,
    *,
    voltage_v: float | None = None,
    pack: PackChoice | None = None,
    motors: int = 1,
    draws: int | None = None,
    current_limit: LimitChoice = "bench",
    air: AirLike | None = None,
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
) -> Machine:
    """Bring a fit's draws to the asked supply, air and temperatures.

    Parameters
    ----------
    fit:
        A stored fit.
    propeller:
        An id, a geometry, or the draws of a propeller.
    voltage_v:
        Of an ideal supply at the controller [V]; this or ``pack``.
    pack, motors:
        A pack, and how many like motors run from it at once.
    draws:
        How many posterior draws to use, evenly spaced; all when left out.
    current_limit:
        Of motor current [A]; "bench" for that of the bench's controller, None for none.
    air:
        Temperature, pressure, humidity; the campaign's when left out.
    winding_temperature_c, magnet_temperature_c:
        Temperatures of the motor [°C].

    Raises
    ------
    AnswerError
        A value outside what is allowed, neither or both of voltage and pack, an unknown propeller.
    """
    held = count(fit)
    rows, few = pick_rows(held, draws)
    supply = supply_of(voltage_v, pack, held, motors=motors, rows=rows)

    def make() -> Machine:
        prop = propeller_draws(fit, propeller) if isinstance(propeller, str) else propeller
        drive = drive_of(
            fit,
            current_limit=current_limit,
            winding_temperature_c=winding_temperature_c,
            magnet_temperature_c=magnet_temperature_c,
            rows=rows,
        )
        around = campaign_air(fit) if air is None else air
        density = float(air_density(around.temperature_c, around.pressure_hpa, around.humidity_pct))
        load = load_of(prop, density, rows)
        return Machine(
            fit=fit,
            propeller=prop,
            supply=_NONE,
            air=around,
            drive=drive,
            load=load,
            rows=rows,
            draws=held if rows is None else len(rows),
            warnings=(*few, *propeller_cautions(fit, prop), *parameter_cautions(fit)),
            columns=stacked(drive, load),
        )

    known = propeller if isinstance(propeller, str) else id(propeller)
    weather = None if air is None else (air.temperature_c, air.pressure_hpa, air.humidity_pct)
    key = (known, draws, current_limit, weather, winding_temperature_c, magnet_temperature_c)
    # some megabytes each; the same machine on another supply is what is asked for again and again
    machine = remembered(fit, "machine", key, make, most=2)
    if not isinstance(propeller, str) and machine.propeller is not propeller:
        machine = make()  # the number of another that is gone
    return machine.fed_by(supply)


def supply_of(
    voltage_v: float | None,
    pack: PackChoice | None,
    held: int,
    *,
    motors: int = 1,
    rows: NDArray[np.intp] | None = None,
) -> Supply:
    """Return the supply of a question to a fit that holds so many draws; AnswerError for neither or both."""
    if (voltage_v is None) == (pack is None):
        raise AnswerError("voltage", voltage_v, "either a voltage or a pack", "Give one of the two.")
    if pack is not None:
        return pack_supply(pack, held, motors=motors, rows=rows)
    check_motors(motors)
    return replace(ideal_supply(voltage_v or 0.0), motors=motors)


def pick_rows(size: int, draws: int | None) -> tuple[NDArray[np.intp] | None, list[Caution]]:
    """Which draws to use: evenly spaced ones, so that every chain gives its share; None for all."""
    if draws is None:
        return None, []
    if draws < 1:
        raise AnswerError("draws", draws, f"a whole number from 1 to {size}", "Leave it out to use them all.")
    if draws > size:
        text = f"{draws} draws were asked for; the fit holds {size}, and all of them were used."
        return None, [Caution("fewer-draws", text)]
    return np.floor(np.arange(draws) * (size / draws)).astype(np.intp), []


def check_throttle(name: str, throttle: float) -> float:
    """Return a throttle, or raise AnswerError outside 0..1."""
    if not 0.0 <= throttle <= 1.0:
        raise AnswerError(
            name, throttle, "fractions from 0 to 1", "Full throttle is 1, not 100; a fifth is 0.2."
        )
    return float(throttle)


def propeller_inertia(machine: Machine) -> FloatArray:
    """Moment of inertia of the propeller [kg m²], (draws,): learned, known, or by its diameter alone."""
    prop = machine.propeller
    values = prop.inertia
    if values is None:
        mass, share = BELIEFS["prop_mass"], BELIEFS["prop_inertia_share"]
        usual = float(inertia(mass.center * (prop.diameter_m / 0.127) ** 2.3, prop.diameter_m, share.center))
        rng = np.random.default_rng(round(prop.diameter_m * 1e6))
        spread = math.hypot(mass.spread, share.spread)
        values = usual * np.exp(spread * rng.standard_normal(count(machine.fit)))
    return np.asarray(values if machine.rows is None else values[machine.rows], dtype=np.float64)


def one_band(values: FloatArray, interval: float) -> Band:
    """Return a Band of one point from (draws,); it holds NaN where more than half of the draws have none."""
    from motorfit.answers.bands import band

    return band(values[np.newaxis, :], interval)


def point_json(found: Band) -> dict[str, float | None]:
    """Return ``{"median": x, "low": x, "high": x}`` of a band of one point."""
    return {name: values[0] for name, values in found.to_json().items()}
