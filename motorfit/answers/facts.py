"""Facts of the campaign that a stored fit carries beside its draws.

What is read of ``fit.constant`` (all of it JSON-able):

    air          temperature_c, pressure_hpa, humidity_pct
    controller   current_limit_a, the bench's nominal one or null
    propellers   by id: diameter_m, pitch_m, blades, reference_rev_per_s, make where told
    envelope     overall: speed_rpm, voltage_v, current_a, each [low, high] or null;
                 propellers: by id the same, only of those this motor ran
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from motorfit.answers.errors import AnswerError
from motorfit.answers.posterior import FitLike

OVERALL = "overall"
"""Key of the envelope over all runs of a motor, beside those of single propellers."""


@dataclass(frozen=True)
class PropellerFacts:
    """Geometry of a propeller: diameter and pitch in m, blades, reference speed in rev/s; make, or empty."""

    diameter_m: float
    pitch_m: float
    blades: int
    reference_rev_per_s: float
    make: str = ""


@dataclass(frozen=True)
class Envelope:
    """What the runs covered, each (low, high) or None where it was not logged."""

    speed_rpm: tuple[float, float] | None
    voltage_v: tuple[float, float] | None
    current_a: tuple[float, float] | None


def propeller_facts(fit: FitLike, propeller: str) -> PropellerFacts:
    """Return the geometry of a propeller of the campaign; AnswerError where the fit does not store it."""
    stored = _mapping(fit.constant, "propellers").get(propeller)
    if not isinstance(stored, Mapping):
        raise AnswerError(
            "propeller", propeller, "a propeller whose geometry the fit stores", "Fit the campaign again."
        )
    return PropellerFacts(
        diameter_m=float(stored["diameter_m"]),
        pitch_m=float(stored["pitch_m"]),
        blades=int(stored["blades"]),
        reference_rev_per_s=float(stored.get("reference_rev_per_s") or 250.0),
        make=str(stored.get("make") or ""),
    )


def envelope(fit: FitLike, propeller: str | None = None) -> Envelope | None:
    """Return what this motor's runs covered with one propeller, or overall (``propeller`` None).

    None: no run of this motor has that propeller.
    """
    stored = _mapping(fit.constant, "envelope")
    by_propeller = _mapping(stored, "propellers")
    found = stored.get(OVERALL) if propeller is None else by_propeller.get(propeller)
    if not isinstance(found, Mapping):
        return None
    spans = Envelope(_span(found, "speed_rpm"), _span(found, "voltage_v"), _span(found, "current_a"))
    return None if spans == Envelope(None, None, None) else spans


def bench_current_limit(fit: FitLike) -> float | None:
    """Return the controller's declared current limit [A], None where none was declared."""
    value = _mapping(fit.constant, "controller").get("current_limit_a")
    return None if value is None else float(value)


class AirLike(Protocol):
    """Still air: temperature [°C], station pressure [hPa], relative humidity [%]."""

    @property
    def temperature_c(self) -> float:
        """Temperature [°C]."""

    @property
    def pressure_hpa(self) -> float:
        """Station pressure [hPa]."""

    @property
    def humidity_pct(self) -> float:
        """Relative humidity [%]."""


@dataclass(frozen=True)
class Air:
    """The air of an answer: temperature [°C], station pressure [hPa], relative humidity [%]."""

    temperature_c: float
    pressure_hpa: float
    humidity_pct: float


def campaign_air(fit: FitLike) -> Air:
    """Return the air of the campaign a fit came from; AnswerError where the fit does not store it."""
    stored = _mapping(fit.constant, "air")
    if not {"temperature_c", "pressure_hpa"} <= stored.keys():
        raise AnswerError("air", None, "a fit that stores the air of its campaign", "Fit the campaign again.")
    humidity = stored.get("humidity_pct")
    return Air(
        float(stored["temperature_c"]),
        float(stored["pressure_hpa"]),
        50.0 if humidity is None else float(humidity),
    )


def asked_air(
    fit: FitLike, temperature_c: float | None, pressure_hpa: float | None, humidity_pct: float | None
) -> Air | None:
    """Return the air a question asks for, the campaign's where it is silent; None where it is silent on all.

    Raises
    ------
    AnswerError
        Air that nothing flies in.
    """
    if temperature_c is None and pressure_hpa is None and humidity_pct is None:
        return None
    own = campaign_air(fit)
    for name, value, low, high in (
        ("air_temperature", temperature_c, -50.0, 60.0),
        ("air_pressure", pressure_hpa, 200.0, 1100.0),
        ("air_humidity", humidity_pct, 0.0, 100.0),
    ):
        if value is not None and not low <= value <= high:
            raise AnswerError(
                name, value, f"{low:g} to {high:g}", "Temperature is in degC, pressure in hPa, humidity in %."
            )
    return Air(
        own.temperature_c if temperature_c is None else temperature_c,
        own.pressure_hpa if pressure_hpa is None else pressure_hpa,
        own.humidity_pct if humidity_pct is None else humidity_pct,
    )


def _mapping(parent: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = parent.get(key)
    return value if isinstance(value, Mapping) else {}


def _span(parent: Mapping[str, Any], key: str) -> tuple[float, float] | None:
    value = parent.get(key)
    if value is None or len(value) != 2 or value[0] is None or value[1] is None:
        return None
    return float(value[0]), float(value[1])
