"""Torque against speed at a voltage: the curve of the bare motor, its no-load, stall and peak points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.axis import MAX_POINTS
from motorfit.answers.bands import Band, bands, check_interval
from motorfit.answers.cautions import Caution, parameter_cautions, voltage_caution
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import envelope
from motorfit.answers.machine import REFERENCE_C, LimitChoice, drive_of
from motorfit.answers.plain import number, numbers
from motorfit.answers.posterior import FitLike, FloatArray, count
from motorfit.answers.question import (
    RPM_PER_RAD_S,
    check_throttle,
    one_band,
    pick_rows,
    point_json,
    supply_of,
)
from motorfit.answers.supply import PackChoice
from motorfit.physics.drive import Drive
from motorfit.physics.shaft import shaft_curve, shaft_points

DEFAULT_POINTS = 26


@dataclass(frozen=True)
class TorqueCurve:
    """``curves``: a Band over ``speed_rpm`` (G,) by name; ``points``: a Band of one point by name.

    Curves are ``torque_nm``, ``motor_current_a``, ``current_a`` (bus), ``mechanical_power_w``,
    ``electrical_power_w`` and ``motor_efficiency``; a draw has no value above its no-load speed. Of a shaft
    that does not turn there are the no-load speed (0) and the current from the bus, and no other point.
    """

    motor: str
    fit_id: str
    voltage_v: float
    throttle: float
    interval: float
    draws: int
    speed_rpm: FloatArray
    curves: Mapping[str, Band]
    points: Mapping[str, Band]
    warnings: tuple[Caution, ...]
    supply: str
    pack: PackChoice | None = None

    def to_json(self) -> dict[str, Any]:
        """Return ``torque --json``: plain types only, null where there is no answer."""
        document: dict[str, Any] = {
            "motor": self.motor,
            "fit": self.fit_id,
            "voltage_v": number(self.voltage_v),
            "throttle": self.throttle,
            "interval": self.interval,
        }
        if self.pack is not None:
            document["pack"] = self.pack.to_json()
        document |= {name: point_json(found) for name, found in self.points.items()}
        document["curves"] = {"speed_rpm": numbers(self.speed_rpm)}
        document["curves"] |= {name: curve.to_json() for name, curve in self.curves.items()}
        return document | {"warnings": [warning.to_json() for warning in self.warnings]}


def torque_curve(
    fit: FitLike,
    *,
    voltage_v: float | None = None,
    pack: PackChoice | None = None,
    throttle: float = 1.0,
    speed_rpm: Sequence[float] | NDArray[Any] | None = None,
    draws: int | None = None,
    interval: float = 0.9,
    current_limit: LimitChoice = "bench",
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
) -> TorqueCurve:
    """Say what torque a motor gives at every speed from a supply.

    Parameters
    ----------
    fit:
        A stored fit.
    voltage_v, pack:
        An ideal supply [V], or a pack.
    throttle:
        0 to 1.
    speed_rpm:
        (G,) speeds; evenly from stall to no load when left out.
    draws, current_limit, winding_temperature_c, magnet_temperature_c:
        As in `machine_of`.
    interval:
        Probability inside the bands.

    Raises
    ------
    AnswerError
        A value outside what is allowed.
    """
    check_interval(interval)
    check_throttle("throttle", throttle)
    held = count(fit)
    rows, few = pick_rows(held, draws)
    supply = supply_of(voltage_v, pack, held, rows=rows)
    drive = replace(
        drive_of(
            fit,
            current_limit=current_limit,
            winding_temperature_c=winding_temperature_c,
            magnet_temperature_c=magnet_temperature_c,
            rows=rows,
        ),
        source_resistance=supply.resistance,
    )
    points = _points(throttle, supply.voltage, drive)
    grid = _grid(speed_rpm, float(np.median(points["no_load_speed_rpm"])))
    curves = bands(_curves(grid, throttle, supply.voltage, drive), interval)
    found = {name: one_band(values, interval) for name, values in points.items()}
    return TorqueCurve(
        motor=fit.motor,
        fit_id=fit.fit_id,
        voltage_v=supply.nominal_v,
        throttle=float(throttle),
        interval=float(interval),
        draws=held if rows is None else len(rows),
        speed_rpm=grid,
        curves=curves,
        points=found,
        warnings=(
            *few, *parameter_cautions(fit), *_cautions(fit, found, points, throttle, supply.nominal_v)
        ),
        supply=supply.label,
        pack=pack,
    )  # fmt: skip


def _points(throttle: float, volts: float | FloatArray, drive: Drive) -> dict[str, FloatArray]:
    p = shaft_points(throttle, volts, drive)
    found = {
        "no_load_speed_rpm": p.no_load_speed * RPM_PER_RAD_S,
        "no_load_current_a": p.no_load_current,
        "stall_torque_nm": p.stall_torque,
        "stall_motor_current_a": p.stall_current,
        "peak_torque_nm": p.peak_torque,
        "torque_slope_nm_per_rpm": p.slope / RPM_PER_RAD_S,
        "peak_power_w": p.peak_power,
        "peak_power_speed_rpm": p.peak_power_speed * RPM_PER_RAD_S,
        "peak_efficiency": p.peak_efficiency,
        "peak_efficiency_speed_rpm": p.peak_efficiency_speed * RPM_PER_RAD_S,
    }
    turns = p.no_load_speed > 0.0
    of_any = ("no_load_speed_rpm", "no_load_current_a")
    return {n: v if n in of_any else np.where(turns, v, np.nan) for n, v in found.items()}


def _curves(
    grid: FloatArray, throttle: float, volts: float | FloatArray, drive: Drive
) -> dict[str, FloatArray]:
    omega = grid / RPM_PER_RAD_S
    c = shaft_curve(omega, throttle, volts, drive)
    electrical = c.bus_current * c.bus_voltage
    with np.errstate(divide="ignore", invalid="ignore"):
        efficiency = np.where(electrical > 0.0, c.torque * omega / electrical, np.nan)
    values = {
        "torque_nm": c.torque,
        "motor_current_a": c.motor_current,
        "current_a": c.bus_current,
        "mechanical_power_w": c.torque * omega,
        "electrical_power_w": electrical,
        "motor_efficiency": efficiency,
    }
    return {name: array.T for name, array in values.items()}


def _grid(speed_rpm: Sequence[float] | NDArray[Any] | None, no_load: float) -> FloatArray:
    if speed_rpm is None:
        return np.linspace(0.0, no_load, DEFAULT_POINTS if no_load > 0.0 else 1)
    grid = np.asarray(speed_rpm, dtype=np.float64)
    if grid.ndim != 1 or not 1 <= grid.size <= MAX_POINTS:
        raise AnswerError(
            "points", grid.shape, f"a list of 1 to {MAX_POINTS} speeds", "Give, for example, 0,5000,10000."
        )
    bad = grid[~((grid >= 0.0) & (grid <= 1e6))]
    if bad.size:
        raise AnswerError("points", float(bad[0]), "speeds from 0 to 1000000 rpm", "Give speeds in rpm.")
    return grid


def _cautions(
    fit: FitLike, points: Mapping[str, Band], draws: Mapping[str, FloatArray], throttle: float, volts: float
) -> list[Caution]:
    found = []
    still = float(np.mean(draws["no_load_speed_rpm"] <= 0.0))
    if still >= 0.05:
        rest = "Points and curves are of the others." if still < 1.0 else "There is nothing more to say."
        found.append(
            Caution(
                "does-not-turn",
                f"At throttle {throttle:g} the bare shaft stands still in {100.0 * still:.0f} % of the "
                f"draws: what drives it does not overcome its drag. {rest}",
            )
        )
    stall = float(points["stall_motor_current_a"].median[0])
    if np.isfinite(stall):
        found.append(
            Caution(
                "stall",
                f"At stall the winding takes {stall:.3g} A, and all of that power is heat: a motor held "
                "there burns within seconds. It is a point of the model, not one to run at.",
            )
        )
    tested = envelope(fit)
    if tested is None:
        return [*found, Caution("no-envelope", f"The fit of {fit.motor} does not say what its runs covered.")]
    if tested.voltage_v is not None:
        found += voltage_caution(volts, tested.voltage_v, f"runs of {fit.motor}")
    if np.isfinite(stall) and (tested.current_a is None or stall > 1.02 * tested.current_a[1]):
        most = "no current was logged" if tested.current_a is None else f"{tested.current_a[1]:.4g} A"
        found.append(
            Caution(
                "outside-tested-current",
                f"The curve reaches {stall:.0f} A; the runs of {fit.motor} went up to {most} from the bus. "
                "Beyond that, saturation and heating are extrapolated.",
            )
        )
    speed = float(points["no_load_speed_rpm"].median[0])
    if tested.speed_rpm is None or speed > 1.02 * tested.speed_rpm[1]:
        most = "no speed was logged" if tested.speed_rpm is None else f"{tested.speed_rpm[1]:.0f} rpm"
        found.append(
            Caution(
                "outside-tested-speed",
                f"The unloaded motor turns {speed:.0f} rpm; the runs of {fit.motor} went up to {most}.",
            )
        )
    return found
