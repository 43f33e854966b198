"""What is the same for all motors of a comparison: propeller, supply, hover; and what is to be warned of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from motorfit.answers.bands import Band, band
from motorfit.answers.cautions import Caution, envelope_cautions, parameter_cautions, running_cautions
from motorfit.answers.figures import Conditions, figures, machine_for
from motorfit.answers.metrics import Metric, metric_of
from motorfit.answers.notes import Note
from motorfit.answers.pairing import Subject
from motorfit.answers.propeller_stated import StatedPropeller
from motorfit.answers.propeller_tested import LibraryPropeller
from motorfit.answers.propellers import propeller_draws
from motorfit.answers.question import RPM_PER_RAD_S, Machine
from motorfit.physics.steady import operating_points

HOVER_SHARE = 0.5
"""Of the weakest motor's full thrust, where no mass is stated: what multirotors hover at."""


def machines(
    subjects: Sequence[Subject],
    conditions: Conditions,
    propeller: str | StatedPropeller | None,
    library: Sequence[LibraryPropeller],
) -> list[Machine | None]:
    """Return a machine for each motor, None for all where no propeller or voltage is stated.

    The propeller is one thing for all: the draws of the first motor's campaign that tested it stand for it,
    row by row beside every motor; else those from the library, as stated, or by its geometry. What another
    campaign made of the same id enters through the tie between campaigns, not as another propeller.
    """
    if propeller is None or conditions.voltage_v is None:
        return [None] * len(subjects)
    holder = next((s for s in subjects if isinstance(propeller, str) and propeller in s.propellers), None)
    if holder is None:
        shared = propeller_draws(subjects[0], propeller, library)
    else:
        shared = propeller_draws(holder, propeller)
    elsewhere = replace(shared, origin="library", source=holder.fit_id) if holder else shared
    return [
        machine_for(s, shared if shared.name in s.propellers else elsewhere, conditions) for s in subjects
    ]


def settled_hover(
    subjects: Sequence[Subject],
    asked: Iterable[Metric],
    conditions: Conditions,
    found: Sequence[Machine | None],
) -> tuple[Conditions, list[Note]]:
    """Settle the thrust of hover: the same newtons for all motors, or none of them could be compared."""
    if conditions.hover_thrust_n is not None or not any(m.base == "hover_power_w" for m in asked):
        return conditions, []
    full = metric_of("max_thrust_n")
    tops = [
        float(np.nanmedian(figures(s, (full,), conditions, m)[full.name]))
        for s, m in zip(subjects, found, strict=True)
    ]
    thrust = float(f"{HOVER_SHARE * min(tops):.2g}")
    text = (
        f"No mass was stated, so hover is taken at {thrust:g} N a motor, half of what the weakest gives "
        "at full "
        "throttle; state the all-up mass and the number of motors for your aircraft."
    )
    return replace(conditions, hover_thrust_n=thrust), [Note("hover-thrust-assumed", text)]


def cautions_of(
    subjects: Sequence[Subject], found_machines: Sequence[Machine | None]
) -> Iterable[tuple[str, Caution]]:
    """Cautions of every motor at full throttle, where its largest figures are."""
    for subject, machine in zip(subjects, found_machines, strict=True):
        if machine is None:
            yield from ((subject.name, caution) for caution in parameter_cautions(subject))
            continue
        grid = np.ones(1)
        points = operating_points(grid, machine.supply.nominal_v, machine.drive, machine.load)
        curves: dict[str, Band] = {
            "speed_rpm": band(points.speed.T * RPM_PER_RAD_S, 0.9),
            "current_a": band(points.bus_current.T, 0.9),
        }
        found = [_of_one_propeller(caution, subjects, machine) for caution in machine.warnings]
        found += envelope_cautions(subject, machine.propeller, machine.supply.nominal_v, curves, grid)
        found += running_cautions(
            curves, grid, points.limited.mean(axis=0), 1.0 - points.turning.mean(axis=0), machine.propeller,
            machine.air,
        )  # fmt: skip
        yield from ((subject.name, caution) for caution in found)


def _of_one_propeller(caution: Caution, subjects: Sequence[Subject], machine: Machine) -> Caution:
    """Say it in the terms of a comparison where the propeller is that of another motor's campaign."""
    source = machine.propeller.source
    if caution.code != "propeller-from-another-fit" or source not in {s.fit_id for s in subjects}:
        return caution
    return Caution(
        caution.code,
        f"{machine.propeller.name} was not tested in the campaign of {machine.fit.motor}: it is the one of "
        f"fit {source}, the same for all motors here.",
    )


def stated(conditions: Conditions, models: bool) -> dict[str, Any]:
    """Return the conditions as plain values."""
    air = conditions.air
    return {
        "propeller": conditions.propeller,
        "voltage_v": conditions.voltage_v,
        "air": None
        if air is None
        else {
            "temperature_c": air.temperature_c,
            "pressure_hpa": air.pressure_hpa,
            "humidity_pct": air.humidity_pct,
        },
        "current_limit": "none" if conditions.current_limit is None else conditions.current_limit,
        "from": conditions.from_throttle,
        "to": conditions.to_throttle,
        "hover_thrust_n": conditions.hover_thrust_n,
        "motors": conditions.motors,
        "winding_temperature_c": conditions.winding_temperature_c,
        "magnet_temperature_c": conditions.magnet_temperature_c,
        "of": "another unit of each model" if models else "the units tested",
    }
