"""Conversion between the units people log in and the units used inside.

The trade's units and the common SI ones are looked up in a table, so that an ordinary run never loads the
unit library; anything else goes through Pint, its dimension checked against the channel's or parameter's own.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import Any

from motorfit.errors import MotorfitError
from motorfit.quantities import CHANNELS, PARAMETERS

RPM = 2.0 * math.pi / 60.0
"""One revolution per minute [rad/s]."""
STANDARD_GRAVITY = 9.80665
"""[m/s^2], exact by convention (ISO 80000-3)."""
_GF = STANDARD_GRAVITY * 1e-3
_LBF = 4.4482216152605
_INCH = 0.0254


class UnitError(MotorfitError):
    """A unit that is not known, or that measures something else."""


@dataclass(frozen=True, slots=True)
class Conversion:
    """``inside = factor * logged + offset``; a difference or a doubt takes the factor alone."""

    factor: float
    offset: float = 0.0


def _scale(**units: float) -> dict[str, Conversion]:
    return {name.replace("_", " "): Conversion(factor) for name, factor in units.items()}


_TEMPERATURE = {name: Conversion(1.0) for name in ("degc", "c", "celsius", "deg c")}
_TEMPERATURE |= {"k": Conversion(1.0, -273.15), "kelvin": Conversion(1.0, -273.15)}
_TEMPERATURE |= {name: Conversion(5.0 / 9.0, -160.0 / 9.0) for name in ("degf", "f", "fahrenheit", "deg f")}
_VOLT = _scale(v=1.0, volt=1.0, volts=1.0, mv=1e-3)
_AMPERE = _scale(a=1.0, amp=1.0, amps=1.0, ampere=1.0, amperes=1.0, ma=1e-3)
_TABLE: dict[str, dict[str, Conversion]] = {
    "time": _scale(
        s=1.0,
        sec=1.0,
        secs=1.0,
        second=1.0,
        seconds=1.0,
        ms=1e-3,
        millis=1e-3,
        msec=1e-3,
        milliseconds=1e-3,
        us=1e-6,
        micros=1e-6,
        usec=1e-6,
        microseconds=1e-6,
        ns=1e-9,
        min=60.0,
        minutes=60.0,
    ),
    "throttle": _scale(percent=1e-2, pct=1e-2, fraction=1.0)
    | {
        "%": Conversion(1e-2),
        "1": Conversion(1.0),
        "us": Conversion(1e-3, -1.0),
        "ms": Conversion(1.0, -1.0),
    },
    "voltage": _VOLT,
    "motor_voltage": _VOLT,
    "current": _AMPERE,
    "motor_current": _AMPERE,
    "speed": _scale(rpm=RPM, krpm=1e3 * RPM, hz=60 * RPM, rps=60 * RPM, rad_s=1.0, deg_s=math.pi / 180)
    | {
        "rad/s": Conversion(1.0),
        "rev/s": Conversion(60 * RPM),
        "r/s": Conversion(60 * RPM),
        "1/min": Conversion(RPM),
        "min 1": Conversion(RPM),
        "rev min 1": Conversion(RPM),
        "min** 1": Conversion(RPM),
        "u/min": Conversion(RPM),
        "rad s 1": Conversion(1.0),
        "rev/min": Conversion(RPM),
        "r/min": Conversion(RPM),
        "deg/s": Conversion(math.pi / 180),
    },
    "thrust": _scale(
        n=1.0,
        newton=1.0,
        newtons=1.0,
        mn=1e-3,
        kn=1e3,
        g=_GF,
        gf=_GF,
        gram=_GF,
        grams=_GF,
        kg=1e3 * _GF,
        kgf=1e3 * _GF,
        oz=_LBF / 16,
        ozf=_LBF / 16,
        lb=_LBF,
        lbs=_LBF,
        lbf=_LBF,
    ),
    "torque": _scale(
        n_m=1.0,
        nm=1.0,
        mn_m=1e-3,
        mnm=1e-3,
        n_cm=1e-2,
        ncm=1e-2,
        n_mm=1e-3,
        nmm=1e-3,
        g_cm=_GF * 1e-2,
        gf_cm=_GF * 1e-2,
        gf_m=_GF,
        kg_cm=_GF * 10,
        kgf_cm=_GF * 10,
        kgf_m=1e3 * _GF,
        oz_in=_LBF / 16 * _INCH,
        ozf_in=_LBF / 16 * _INCH,
        lb_in=_LBF * _INCH,
        lbf_in=_LBF * _INCH,
        lb_ft=_LBF * _INCH * 12,
        lbf_ft=_LBF * _INCH * 12,
    ),
    "winding_temperature": _TEMPERATURE,
}
EXAMPLES: dict[str, str] = {
    "time": "s, ms, us",
    "throttle": "%, 1 (for 0 to 1), us (pulses of 1000 to 2000), both ends of another scale (0 to 255)",
    "voltage": "V, mV",
    "motor_voltage": "V, mV",
    "current": "A, mA",
    "motor_current": "A, mA",
    "speed": "rpm, eRPM, rad/s, rev/s",
    "thrust": "N, gf, kgf, ozf",
    "torque": "N m, mN m, gf cm, ozf in",
    "winding_temperature": "degC, K",
}
"""Per channel, what to offer to someone whose unit was not understood."""

_COUNTED = re.compile(r"([1-9]\d{0,6})?\s*(e)?rpm", re.IGNORECASE)
"""Turns a minute, electrical ones too, one by one or in hundreds and the like."""

_ENDS = re.compile(
    r"([+-]?\d{1,7}(?:\.\d{1,6})?)\s*(?:to|\.\.|-|–)\s*([+-]?\d{1,7}(?:\.\d{1,6})?)", re.IGNORECASE
)
"""A scale of the user's own: what is logged at no throttle and at full throttle."""

_TURNS = re.compile(r"rad|deg|rev|turn|rpm|cycle")
_SANE = re.compile(r"[\w\s*/^().%°µμΩ·⋅²³-]{1,40}")


def tidy(unit: str) -> str:
    """A unit's spelling made plain: one kind of product sign, of micro, of ohm, of degree."""
    for old, new in (
        ("％", "%"),
        ("⁻", "-"),
        ("−", "-"),
        ("¹", "1"),
        ("µ", "u"),
        ("μ", "u"),
        ("Ω", "ohm"),
        ("°", "deg"),
        ("²", "^2"),
        ("³", "^3"),
        ("·", " "),
        ("⋅", " "),
        ("*", " "),
    ):
        unit = unit.replace(old, new)
    return re.sub(r"\s+", " ", unit.replace("^", "**").replace("** **", "**")).strip()


def _known(channel: str, unit: str) -> Conversion | None:
    return _TABLE[channel].get(re.sub(r"[.\-_ ]+", " ", tidy(unit)).casefold().strip())


def is_common(channel: str, unit: str) -> bool:
    """Whether the table knows `unit` for `channel` ("time" included), without the unit library."""
    return _known(channel, unit) is not None or (channel == "speed" and unit.casefold() == "erpm")


def channel_conversion(channel: str, unit: str, pole_pairs: int | None = None) -> Conversion:
    """How a logged value of `channel` [unit] becomes the channel's own unit (time: s).

    The unit of a throttle may also be both ends of its scale, such as ``0 to 255``, no throttle first.
    Raises `UnitError` when the unit is unknown, measures something else, or is eRPM without a pole count.
    """
    counted = _COUNTED.fullmatch(unit.strip()) if channel == "speed" else None
    if counted is not None:
        if counted[2] and pole_pairs is None:
            raise UnitError("eRPM needs the motor's pole count; add pole_pairs to the motor")
        return Conversion(float(counted[1] or 1) * RPM / (pole_pairs if counted[2] and pole_pairs else 1))
    known = _known(channel, unit)
    if known is not None:
        return known
    ends = _ENDS.fullmatch(unit.strip()) if channel == "throttle" else None
    if ends is not None:
        low, high = float(ends[1]), float(ends[2])
        if low == high:
            raise UnitError(f"unit {unit!r} has two ends that are one; allowed: {EXAMPLES[channel]}")
        return Conversion(1.0 / (high - low), -low / (high - low))
    target = "s" if channel == "time" else CHANNELS[channel].unit
    try:
        return Conversion(_pint_factor(unit, target, turning=channel == "speed"))
    except UnitError as error:
        raise UnitError(f"{error}; allowed for {channel}: {EXAMPLES[channel]}") from None


def parameter_conversion(name: str, unit: str) -> Conversion:
    """How a value of parameter `name` [unit] becomes the unit of `PARAMETERS[name]`; raises `UnitError`."""
    target = PARAMETERS[name].unit
    if tidy(unit) == tidy(target):
        return Conversion(1.0)
    if target == "degC":
        return channel_conversion("winding_temperature", unit)
    try:
        return Conversion(_pint_factor(unit, target))
    except UnitError as error:
        raise UnitError(f"{error}; allowed for {name}: {target}, or any unit of the same kind") from None


@functools.lru_cache(maxsize=256)
def _pint_factor(unit: str, target: str, *, turning: bool = False) -> float:
    """The factor from `unit` to `target`, by Pint."""
    import pint

    if not _SANE.fullmatch(unit):
        raise UnitError(f"unit {unit!r} is not known")
    try:
        source = _registry().parse_units(tidy(unit))
    except Exception:  # the unit library raises half a dozen kinds for text that is no unit
        raise UnitError(f"unit {unit!r} is not known") from None
    wanted = _registry().parse_units("" if target == "1" else tidy(target))
    try:
        factor = float(_registry().Quantity(1.0, source).to(wanted).magnitude)
    except (pint.DimensionalityError, pint.OffsetUnitCalculusError):
        raise UnitError(f"unit {unit!r} does not measure this ({target} is wanted)") from None
    # Pint takes turns and radians for pure numbers, so that it would read 1/s as rad/s.
    if turning and not _TURNS.search(unit.casefold()):
        raise UnitError(f"unit {unit!r} does not say whether it counts turns or radians")
    return factor


@functools.lru_cache(maxsize=1)
def _registry() -> Any:
    """Pint's own registry, loaded once and only when the table does not do."""
    import pint

    return pint.UnitRegistry(on_redefinition="ignore")
