"""Numbers for people: a unit of handy size, and no more digits than the interval earns."""

from __future__ import annotations

import math
from dataclasses import dataclass

from motorfit.quantities import PARAMETERS

# Display unit and factor from the stored unit, where the stored one gives awkward numbers.
_DISPLAY: dict[str, tuple[str, float]] = {
    "kt": ("mN·m/A", 1e3),
    "winding_resistance": ("mΩ", 1e3),
    "controller_resistance": ("mΩ", 1e3),
    "drag_current_slope": ("mA·s/rad", 1e3),
    "drag_current_windage": ("µA·s²/rad²", 1e6),
    "rotor_inertia": ("g·cm²", 1e7),
    "prop_inertia": ("g·cm²", 1e7),
    "flywheel_inertia": ("g·cm²", 1e7),
    "magnet_temperature_coefficient": ("%/K", 1e2),
    "offset_torque": ("mN·m", 1e3),
}
_SYMBOLS = {"ohm": "Ω", "N m": "N·m", "N m/A": "N·m/A", "kg m^2": "kg·m²", "degC": "°C", "1": ""}
_NO_VALUE = "–"


@dataclass(frozen=True)
class Shown:
    """A display unit and the factor that leads to it from the stored unit."""

    unit: str
    factor: float


def shown(name: str) -> Shown:
    """Return how a parameter is shown to people; JSON and files keep the stored unit."""
    if name in _DISPLAY:
        return Shown(*_DISPLAY[name])
    if name.startswith(("delay_", "lag_")):
        return Shown("ms", 1e3)
    quantity = PARAMETERS.get(name)
    unit = "1" if quantity is None else quantity.unit
    return Shown(_SYMBOLS.get(unit, unit), 1.0)


def meaning(name: str) -> str:
    """Return a parameter's one-line meaning ("" where the table does not know it)."""
    quantity = PARAMETERS.get(name)
    return "" if quantity is None else quantity.meaning.replace("degC", "°C")


def decimals(half_width: float, value: float) -> int:
    """How many decimals an interval of this half-width earns.

    Two significant digits of the half-width where it starts with 1 to 3, one otherwise; without a
    width, four significant digits of the value. Negative: round to tens, hundreds.
    """
    if math.isfinite(half_width) and half_width > 0.0:
        exponent = math.floor(math.log10(half_width))
        return (1 if half_width / 10.0**exponent < 3.5 else 0) - exponent
    if math.isfinite(value) and value != 0.0:
        return 3 - math.floor(math.log10(abs(value)))
    return 0


def digits(value: float, places: int) -> str:
    """Return a number with that many decimals; negative places round to tens, hundreds."""
    if not math.isfinite(value):
        return _NO_VALUE
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.replace("-", "−") if float(text) != 0.0 else text.lstrip("-")


def interval_texts(median: float, low: float, high: float, factor: float = 1.0) -> tuple[str, str, str]:
    """Return median, low and high as text, all to the digits their width earns."""
    median, low, high = median * factor, low * factor, high * factor
    places = decimals(0.5 * (high - low), median)
    if places > 9:  # so small that only an exponent reads well
        return _general(median), _general(low), _general(high)
    return digits(median, places), digits(low, places), digits(high, places)


def _general(value: float) -> str:
    return f"{value:.3g}".replace("-", "−") if math.isfinite(value) else _NO_VALUE


def held(sentence: str) -> str:
    """Return a sentence as people read it: °C, and no line that ends between a number and its %."""
    return sentence.replace(" %", "\u00a0%").replace("degC", "°C")


def percent(share: float | None) -> str:
    """Return a share as a whole percentage; above 99 % with a decimal, so that it never reads 100 %."""
    if share is None or not math.isfinite(share):
        return _NO_VALUE
    if 0.99 < share < 1.0:
        return f"{min(99.9, math.floor(share * 1000.0) / 10.0):.1f} %"
    return f"{100.0 * max(share, 0.0):.0f} %"
