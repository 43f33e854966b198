"""Limits that a user or the bench states, and what to say where a prediction passes them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from motorfit.answers.bands import Band
from motorfit.answers.cautions import Caution, ranges
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import bench_current_limit
from motorfit.answers.posterior import FloatArray
from motorfit.answers.question import Machine
from motorfit.answers.steady import SteadyBands
from motorfit.answers.warmth import settled_along

LOW_CELL_V = 3.3
"""Voltage of a cell under load [V] below which it ages fast and may fail."""


WINDING_LIMIT_C = 120.0
"""Winding temperature [°C] taken as the limit where none is given."""

_LOOKED_AT = 12
"""Points of an axis at which the settled winding temperature is looked at."""


@dataclass(frozen=True)
class Limits:
    """What must not be passed, None where nobody said.

    ``winding_c`` is the temperature of the winding [°C]; no maker's figure, unless told.
    ``propeller_speed_rpm`` is its maker's speed limit; ``current_a`` of the motor, its maker's or the
    controller's; ``pack_current_a`` of the whole pack.
    """

    propeller_speed_rpm: float | None = None
    current_a: float | None = None
    pack_current_a: float | None = None
    winding_c: float = WINDING_LIMIT_C

    def __post_init__(self) -> None:
        """Refuse what is no limit."""
        if not 40.0 <= self.winding_c <= 250.0:
            raise AnswerError("winding_limit_c", self.winding_c, "40 to 250 degC", "Give degrees Celsius.")
        for name in ("propeller_speed_rpm", "current_a", "pack_current_a"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise AnswerError(f"max_{name}", value, "above 0", "Leave it out where there is no limit.")


def limit_cautions(
    machine: Machine, curves: Mapping[str, Band], points: FloatArray, along: str, limits: Limits
) -> list[Caution]:
    """Name the points at which the upper end of a band passes a limit, with both in numbers."""
    found: list[Caution] = []
    found += _above(
        "over-speed",
        "the propeller may turn",
        "rpm",
        curves.get("speed_rpm"),
        limits.propeller_speed_rpm,
        points,
        along,
    )
    bench = bench_current_limit(machine.fit)
    current = limits.current_a if limits.current_a is not None else bench
    # a bench limit that is in force is no news: its own caution says where it holds
    slack = 1.0 if limits.current_a is not None else 1.1
    found += _above(
        "over-current",
        "the motor current may be",
        "A",
        curves.get("motor_current_a"),
        current,
        points,
        along,
        slack,
    )
    found += _above(
        "over-current",
        "the pack may have to give",
        "A",
        curves.get("pack_current_a"),
        limits.pack_current_a,
        points,
        along,
    )
    pack, bus = machine.supply.pack, curves.get("bus_voltage_v")
    if pack is not None and bus is not None:
        cell = bus.low / pack.choice.cells
        with np.errstate(invalid="ignore"):
            sagging = cell < LOW_CELL_V
        if sagging.any():
            found.append(
                Caution(
                    "pack-sag",
                    f"At {along} {ranges(points, sagging)} a cell may be down to {np.nanmin(cell):.2f} V "
                    f"under load, below {LOW_CELL_V:g} V.",
                )
            )
        if pack.choice.cell_resistance_ohm is None:
            found.append(
                Caution(
                    "pack-resistance-assumed",
                    f"The pack's resistance was not given; {1000 * np.median(pack.resistance):.0f} milliohm "
                    "with leads, usual for its capacity, stands in with a wide band.",
                )
            )
    return found


def heat_cautions(
    machine: Machine, found: SteadyBands, points: FloatArray, along: str, limits: Limits
) -> list[Caution]:
    """Name the points at which a motor that runs on may pass the winding's limit.

    Nothing is said where heat was not learned: `hover` is the question about heat.
    """
    chosen = np.unique(np.linspace(0, points.size - 1, _LOOKED_AT).astype(np.intp))
    winding = settled_along(machine, found.speed_rpm, found.torque_nm, chosen)
    if winding is None:
        return []
    known = np.isfinite(winding) | np.isposinf(winding)
    ordered = np.sort(np.where(known, winding, -np.inf), axis=0)
    high = ordered[int(0.95 * (len(ordered) - 1))]
    over = high > limits.winding_c
    if not over.any():
        return []
    most = float(np.max(high[over]))
    text = f"settle at up to {most:.0f} degC" if math.isfinite(most) else "run away, without a settled end"
    return [
        Caution(
            "winding-temperature",
            f"At {along} {ranges(points[chosen], over)} the winding of a motor that runs on may {text}: "
            f"above {limits.winding_c:g} degC, with the cooling of the bench.",
        )
    ]


def _above(
    code: str,
    what: str,
    unit: str,
    curve: Band | None,
    limit: float | None,
    points: FloatArray,
    along: str,
    slack: float = 1.0,
) -> list[Caution]:
    if curve is None or limit is None:
        return []
    with np.errstate(invalid="ignore"):
        over = curve.high > slack * limit
    if not over.any():
        return []
    most = float(np.nanmax(curve.high))
    return [
        Caution(
            code,
            f"At {along} {ranges(points, over)} {what} up to {most:.4g} {unit}, above the limit of "
            f"{limit:.4g} {unit}.",
        )
    ]
