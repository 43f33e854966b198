"""What a reader of a prediction must be told: where it leaves what was tested, and what limits it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.bands import Band
from motorfit.answers.facts import AirLike, Envelope, envelope
from motorfit.answers.lessons import teacher
from motorfit.answers.posterior import FitLike, FloatArray, flat
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.show import LEARNED_FROM, contraction
from motorfit.physics.propeller import TIP_MACH_FLAG, tip_mach

# A prediction this little outside the tested span (relative) is still inside it: block means and an
# ideal supply never meet to the last digit.
_SLACK = 0.02


@dataclass(frozen=True)
class Caution:
    """One warning: a code for machines, a sentence with numbers for people."""

    code: str
    message: str

    def to_json(self) -> dict[str, str]:
        """Return ``{"code": ..., "message": ...}``."""
        return {"code": self.code, "message": self.message}


def propeller_cautions(fit: FitLike, propeller: PropellerDraws) -> list[Caution]:
    """Say where the propeller's coefficients come from, if not from runs of this motor with it."""
    if propeller.origin != "fit":
        return [_from_elsewhere(fit, propeller)]
    found = []
    dull = [
        name
        for name in ("thrust_coefficient", "torque_coefficient")
        if not learned(fit, name, propeller.name)
    ]
    if dull:
        found.append(
            Caution(
                "propeller-not-learned",
                f"{' and '.join(dull)} of {propeller.name} were not learned from this campaign; what would "
                f"teach them: {teacher(dull[0], propeller.name)}.",
            )
        )
    elif envelope(fit, propeller.name) is None:
        found.append(
            Caution(
                "propeller-tested-elsewhere",
                f"{propeller.name} was not run on {fit.motor}: its coefficients come from other motors of "
                "the campaign.",
            )
        )
    return found


def _from_elsewhere(fit: FitLike, propeller: PropellerDraws) -> Caution:
    name = propeller.name
    if propeller.origin == "library":
        return Caution(
            "propeller-from-another-fit",
            f"{name} was not tested in the campaign of {fit.motor}: its coefficients are those of fit "
            f"{propeller.source}, with the scatter between units and between stands added.",
        )
    if propeller.origin == "stated":
        return Caution(
            "stated-propeller",
            f"The coefficients of {name} are those stated, with the doubt stated; no run bears on them.",
        )
    taught = propeller.sharpened_by
    more = "" if len(taught) < 7 else f" and {len(taught) - 6} more"
    by = f"{', '.join(taught[:6])}{more} sharpened them" if taught else "no tested propeller sharpens them"
    if propeller.same_make:
        by += f", of the same make {', '.join(propeller.same_make[:6])}"
    return Caution(
        "geometry-only-propeller",
        f"{name} was not tested: its coefficients are what propellers of {propeller.blades} blades usually "
        f"have, so the bands are wide; {by}.",
    )


def parameter_cautions(fit: FitLike) -> list[Caution]:
    """Name the motor's own parameters that a prediction needs and the runs did not teach."""
    needed = ("kv", "kt", "winding_resistance", "no_load_current")
    missing = [name for name in needed if name in fit.draws and not learned(fit, name, None)]
    if not missing:
        return []
    return [
        Caution(
            "parameters-not-learned",
            f"{', '.join(missing)} of {fit.motor} were not learned from its runs and stand at what motors "
            f"of its kind usually have; what would teach {missing[0]}: {teacher(missing[0])}.",
        )
    ]


def envelope_cautions(
    fit: FitLike,
    propeller: PropellerDraws,
    voltage_v: float,
    curves: Mapping[str, Band],
    points: FloatArray,
    along: str = "throttle",
) -> list[Caution]:
    """Name what lies outside the tested speeds, voltages and currents, with both spans in numbers.

    ``points`` (G,) and ``along`` say at which values of which axis.
    """
    own = envelope(fit, propeller.name)
    tested = own or envelope(fit)
    if tested is None:
        return [Caution("no-envelope", f"The fit of {fit.motor} does not say what its runs covered.")]
    where = f"runs of {fit.motor} with {propeller.name}" if own else f"runs of {fit.motor}"
    found: list[Caution] = []
    for quantity, unit, span in _spans(tested):
        code = f"outside-tested-{quantity}"
        if span is None:
            found.append(Caution(code, f"No {quantity} was logged in the {where}."))
            continue
        low, high = span
        if quantity == "voltage":
            found += voltage_caution(voltage_v, span, where)
            continue
        values = curves["speed_rpm" if quantity == "speed" else "current_a"].median
        with np.errstate(invalid="ignore"):
            outside = (values < low - _SLACK * abs(low)) | (values > high + _SLACK * abs(high))
        if outside.any():
            found.append(
                Caution(
                    code,
                    f"At {along} {ranges(points, outside)} the predicted {quantity} "
                    f"({_span_text(values[outside])} {unit}) lies outside the {_plain(low)} to "
                    f"{_plain(high)} {unit} of the {where}.",
                )
            )
    return found


def voltage_caution(voltage_v: float, span: tuple[float, float], where: str) -> list[Caution]:
    """Say that a voltage [V] lies outside the span of some runs; nothing where it does not."""
    low, high = span
    if low - _SLACK * abs(low) <= voltage_v <= high + _SLACK * abs(high):
        return []
    return [
        Caution(
            "outside-tested-voltage",
            f"{_plain(voltage_v)} V lies outside the {_plain(low)} to {_plain(high)} V of the {where}.",
        )
    ]


def running_cautions(
    curves: Mapping[str, Band],
    points: FloatArray,
    limited: FloatArray,
    stopped: FloatArray,
    propeller: PropellerDraws,
    air: AirLike,
    along: str = "throttle",
    beyond: FloatArray | None = None,
) -> list[Caution]:
    """Name limits of the machine itself: current limit, tip speed, throttle too small to turn.

    ``limited``, ``stopped`` and ``beyond`` are shares of draws (G,) at which the limit holds, the shaft
    stands, the point is not reached; ``points`` and ``along`` say at which values of which axis.
    """
    found: list[Caution] = []
    held = limited >= 0.05
    if held.any():
        found.append(
            Caution(
                "current-limited",
                f"At {along} {ranges(points, held)} the controller's current limit holds in "
                f"{_percent(limited[held])} of the draws; throttle says little there.",
            )
        )
    omega = curves["speed_rpm"].median * (2.0 * math.pi / 60.0)
    weather = (air.temperature_c, air.pressure_hpa, air.humidity_pct)
    mach = np.asarray(tip_mach(omega, propeller.diameter_m, *weather))
    with np.errstate(invalid="ignore"):
        fast = mach > TIP_MACH_FLAG
    if fast.any():
        found.append(
            Caution(
                "tip-mach",
                f"At {along} {ranges(points, fast)} the blade tips reach Mach {np.nanmax(mach):.2f}, "
                f"above {TIP_MACH_FLAG:g}: compressibility, which the model leaves out, costs thrust and "
                "adds torque.",
            )
        )
    still = stopped >= 0.05
    if still.any():
        found.append(
            Caution(
                "does-not-turn",
                f"At {along} {ranges(points, still)} the shaft stands still in "
                f"{_percent(stopped[still])} of the draws.",
            )
        )
    far = np.zeros(points.size, dtype=bool) if beyond is None else beyond >= 0.05
    if beyond is not None and far.any():
        found.append(
            Caution(
                "out-of-reach",
                f"At {along} {ranges(points, far)} this supply and limit do not get there in "
                f"{_percent(beyond[far])} of the draws; bands are of the others.",
            )
        )
    blank = sorted(name for name, curve in curves.items() if np.isnan(curve.median).any())
    if blank:
        gone = np.any([np.isnan(curves[name].median) for name in blank], axis=0)
        found.append(
            Caution(
                "no-answer",
                f"At {along} {ranges(points, gone)} there is no value (null) for {', '.join(blank)}.",
            )
        )
    return found


def learned(fit: FitLike, name: str, propeller: str | None = None) -> bool:
    """True where the runs narrowed a parameter (of a propeller, by id) well below its prior."""
    if name not in fit.prior:
        return True
    draws, prior = flat(fit.draws[name]), flat(fit.prior[name])
    if propeller is not None:
        index = fit.propellers.index(propeller)
        draws, prior = draws[:, index], prior[:, index]
    return contraction(draws, prior) >= LEARNED_FROM


def _spans(tested: Envelope) -> Iterable[tuple[str, str, tuple[float, float] | None]]:
    yield "speed", "rpm", tested.speed_rpm
    yield "voltage", "V", tested.voltage_v
    yield "current", "A", tested.current_a


def ranges(points: FloatArray, mask: NDArray[np.bool_]) -> str:
    """Text of the points a mask selects: single values, and runs of neighbours as ranges."""
    order = np.argsort(points, kind="stable")
    parts: list[str] = []
    start: float | None = None
    last = 0.0
    for index in (*order, None):
        if index is not None and mask[index]:
            start = float(points[index]) if start is None else start
            last = float(points[index])
        elif start is not None:
            parts.append(f"{start:.4g}" if start == last else f"{start:.4g} to {last:.4g}")
            start = None
    return ", ".join(parts)


def _span_text(values: FloatArray) -> str:
    low, high = float(np.min(values)), float(np.max(values))
    return _plain(low) if low == high else f"{_plain(low)} to {_plain(high)}"


def _plain(value: float) -> str:
    """Four digits, never an exponent for the sizes met here."""
    return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"


def _percent(shares: FloatArray) -> str:
    low, high = 100.0 * float(np.min(shares)), 100.0 * float(np.max(shares))
    return f"{low:.0f} %" if round(low) == round(high) else f"{low:.0f} to {high:.0f} %"
