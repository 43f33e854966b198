"""What a reader of a hover answer must be told, with numbers."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from motorfit.answers.bands import Band
from motorfit.answers.cautions import Caution, envelope_cautions, running_cautions
from motorfit.answers.lessons import teacher
from motorfit.answers.limits import Limits, limit_cautions
from motorfit.answers.posterior import FloatArray
from motorfit.answers.question import Machine

THIN_MARGIN = 1.5
"""Full-throttle thrust over weight [1] below which little is left to climb, or to steady a gust."""


def hover_cautions(
    machine: Machine,
    values: Mapping[str, FloatArray],
    points: Mapping[str, Band],
    mass_g: float,
    reserve: float,
    limit_c: float,
    warm: bool,
    limits: Limits,
) -> list[Caution]:
    """Name what limits the hover, and where it leaves what was tested; each with numbers."""
    fit, prop = machine.fit, machine.propeller
    found = [
        Caution(
            "static-hover",
            "Hover is taken as the static thrust of the stand: no airframe in the wash, no wind or climb, "
            "and nothing else fed from the pack. Real flights are shorter.",
        )
    ]
    grounded = np.isnan(values["hover_throttle"])
    cannot = float(np.mean(grounded))
    if cannot >= 0.05:
        share = points["thrust_to_weight"]
        rest = "bands are of the others" if cannot <= 0.5 else "what hovering takes has no answer (null)"
        found.insert(
            0,
            Caution(
                "cannot-hover",
                f"In {100 * cannot:.0f} % of the draws the motors cannot carry {mass_g:g} g at the start of "
                f"the flight: full throttle carries {mass_g * share.low[0]:.4g} to "
                f"{mass_g * share.high[0]:.4g} g there; {rest}.",
            ),
        )
    ended = ~grounded & (values["end_charge"] > reserve + 1e-9)
    early = float(np.mean(ended))
    if early >= 0.05:
        found.append(
            Caution(
                "pack-collapse",
                f"In {100 * early:.0f} % of the draws the sagging pack can no longer carry this mass before "
                f"the reserve of {100 * reserve:.0f} % is reached; the flight ends there, "
                f"at {100.0 * float(np.median(values['end_charge'][ended])):.0f} % in the middle of them.",
            )
        )
    reached = {
        "speed_rpm": points["speed_rpm"],
        "motor_current_a": points["motor_current_a"],
        "pack_current_a": points["current_end_a"],
        "bus_voltage_v": points["pack_voltage_end_v"],
    }
    found += limit_cautions(machine, reached, points["hover_throttle"].median, "hover throttle", limits)
    margin = points["thrust_to_weight"].low[0]
    if margin < THIN_MARGIN and cannot <= 0.5:
        found.append(
            Caution(
                "thin-margin",
                f"Full throttle may give no more than {margin:.2f} times the weight at the start.",
            )
        )
    throttle = points["hover_throttle"].median
    curves = {
        "speed_rpm": points["speed_rpm"],
        "current_a": points["current_per_motor_a"],
    }
    found += envelope_cautions(fit, prop, machine.supply.nominal_v, curves, throttle, "hover throttle")
    nothing = np.zeros(1)
    found += [
        c
        for c in running_cautions(curves, throttle, nothing, nothing, prop, machine.air, "hover throttle")
        if c.code != "no-answer"
    ]
    return found + _heat_cautions(machine, points, limit_c, warm)


def _heat_cautions(machine: Machine, points: Mapping[str, Band], limit_c: float, warm: bool) -> list[Caution]:
    if not warm:
        return [
            Caution(
                "heat-not-learned",
                f"How warm {machine.fit.motor} gets was not learned from its runs, so neither winding "
                "temperature nor continuous current is given; what would teach it: "
                f"{teacher('body_time_constant')}.",
            )
        ]
    high = points["steady_winding_temperature_c"].high[0]
    if high >= limit_c:  # nothing where there is no hover
        text = f"{high:.0f} degC" if np.isfinite(high) else "a temperature without end (it runs away)"
        return [
            Caution(
                "winding-temperature",
                f"In steady hover the winding may reach {text}, the limit asked for being {limit_c:g} degC.",
            )
        ]
    return []
