"""What a motor will do with a propeller: curves with bands, over throttle or another axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from motorfit.answers.axis import DEFAULT_THROTTLE, Axis, axis_of
from motorfit.answers.bands import Band, check_interval
from motorfit.answers.cautions import Caution, envelope_cautions, running_cautions
from motorfit.answers.facts import AirLike
from motorfit.answers.limits import Limits, heat_cautions, limit_cautions
from motorfit.answers.machine import REFERENCE_C, LimitChoice
from motorfit.answers.plain import number, numbers
from motorfit.answers.posterior import FitLike, FloatArray
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.question import GRAVITY, machine_of
from motorfit.answers.steady import steady_bands
from motorfit.answers.supply import PackChoice
from motorfit.answers.warmth import few_draws

__all__ = ["DEFAULT_THROTTLE", "GRAVITY", "Prediction", "predict"]


@dataclass(frozen=True)
class Prediction:
    """Curves over an axis with bands, and what the reader must know about them.

    ``curves`` holds, each a Band over ``axis.points`` (G,): ``speed_rpm``, ``thrust_n``, ``torque_nm``,
    ``current_a`` (bus), ``motor_current_a``, ``electrical_power_w`` (bus), ``mechanical_power_w`` (shaft),
    ``motor_efficiency`` (shaft power over bus power, 0..1) and ``thrust_per_watt_g`` (grams of thrust per
    watt from the bus), all of one motor; with a pack also ``bus_voltage_v`` and ``pack_current_a`` of all
    motors; over another axis than throttle also ``throttle``, and without the axis itself.
    """

    motor: str
    fit_id: str
    propeller: str
    voltage_v: float
    interval: float
    draws: int
    axis: Axis
    curves: Mapping[str, Band]
    warnings: tuple[Caution, ...]
    supply: str = ""
    pack: PackChoice | None = None
    motors: int = 1

    @property
    def throttle(self) -> FloatArray:
        """Throttle (G,): the axis, or the median of what the axis takes."""
        return self.axis.points if self.axis.name == "throttle" else self.curves["throttle"].median

    def to_json(self) -> dict[str, Any]:
        """Return ``predict --json``: plain types only, null where there is no answer."""
        curves: dict[str, Any] = {self.axis.curve: numbers(self.axis.points)}
        curves.update({name: curve.to_json() for name, curve in self.curves.items()})
        document: dict[str, Any] = {
            "motor": self.motor,
            "fit": self.fit_id,
            "propeller": self.propeller,
            "voltage_v": number(self.voltage_v),
            "interval": self.interval,
            "against": self.axis.name,
            "curves": curves,
            "warnings": [warning.to_json() for warning in self.warnings],
        }
        if self.pack is not None:
            document |= {"motors": self.motors, "pack": self.pack.to_json()}
        return document


def predict(
    fit: FitLike,
    *,
    propeller: str | PropellerDraws,
    voltage_v: float | None = None,
    throttle: Sequence[float] | NDArray[Any] | None = None,
    against: str = "throttle",
    points: Sequence[float] | NDArray[Any] | None = None,
    pack: PackChoice | None = None,
    motors: int = 1,
    draws: int | None = None,
    interval: float = 0.9,
    current_limit: LimitChoice = "bench",
    air: AirLike | None = None,
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
    limits: Limits | None = None,
) -> Prediction:
    """Predict a motor's static curves with a propeller.

    Parameters
    ----------
    fit:
        A stored fit.
    propeller:
        An id of the fit's campaign, ``DxPxB`` in inches for one known by geometry only, or its draws.
    voltage_v:
        Of an ideal supply at the controller [V], held whatever the current; this or ``pack``.
    throttle:
        (G,) points from 0 to 1; 0.05 to 1 in steps of 0.05 when left out.
    against, points:
        Another axis, one of `motorfit.answers.axis.AXIS_NAMES`, and its points (G,). Each draw is inverted
        exactly, and has no value at a point that it does not reach.
    pack, motors:
        A pack that so many like motors share; its sag is solved together with the operating point.
    draws:
        How many posterior draws to use, evenly spaced; all when left out.
    interval:
        Probability inside the bands.
    current_limit:
        Of motor current [A]; "bench" for that of the bench's controller, None for none.
    air:
        Temperature, pressure, humidity; the campaign's when left out.
    winding_temperature_c, magnet_temperature_c:
        Temperatures of the motor [°C].
    limits:
        What must not be passed; passing it is warned of.

    Raises
    ------
    AnswerError
        A value outside what is allowed, or a propeller that is neither known nor a geometry.
    """
    check_interval(interval)
    axis = axis_of(against, points, throttle)
    machine = machine_of(
        fit,
        propeller,
        voltage_v=voltage_v,
        pack=pack,
        motors=motors,
        draws=draws,
        current_limit=current_limit,
        air=air,
        winding_temperature_c=winding_temperature_c,
        magnet_temperature_c=magnet_temperature_c,
    )
    found = steady_bands(machine, axis, interval, few_draws(machine.draws))
    curves = found.curves
    # over an axis, its own points stand where its curve would
    seen = dict(curves) | ({} if axis.curve == "throttle" else {axis.curve: Band(*(axis.points,) * 3)})
    prop, along = machine.propeller, axis.text()
    warnings = [
        *machine.warnings,
        *envelope_cautions(fit, prop, machine.supply.nominal_v, seen, axis.points, along),
        *running_cautions(
            seen, axis.points, found.limited, found.stopped, prop, machine.air, along, found.beyond
        ),
        *limit_cautions(machine, seen, axis.points, along, limits or Limits()),
        *heat_cautions(machine, found, axis.points, along, limits or Limits()),
    ]
    return Prediction(
        motor=fit.motor,
        fit_id=fit.fit_id,
        propeller=propeller if isinstance(propeller, str) else propeller.name,
        voltage_v=machine.supply.nominal_v,
        interval=float(interval),
        draws=machine.draws,
        axis=axis,
        curves=curves,
        warnings=tuple(warnings),
        supply=machine.supply.label,
        pack=pack,
        motors=motors,
    )
