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
from motorfit.answers.propellers import PropellerDraws, propeller_draws
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

    A motor whose campaign tested the propeller has it as its own campaign saw it. For the others it is
    one and the same set of draws: that of the first motor whose campaign tested it, else from the library, as
    stated, or by its geometry.
    """
    if propeller is None or conditions.voltage_v is None:
        return [None] * len(subjects)
    shared: PropellerDraws | None = None
    found: list[Machine | None] = []
    for subject in subjects:
        chosen: str | PropellerDraws
        if isinstance(propeller, str) and propeller in subject.propellers:
            chosen = propeller
        else:
            shared = _shared(subjects, propeller, library) if shared is None else shared
            chosen = shared
        found.append(machine_for(subject, chosen, conditions))
    return found


def _shared(
    subjects: Sequence[Subject], propeller: str | StatedPropeller, library: Sequence[LibraryPropeller]
) -> PropellerDraws:
    for subject in subjects:
        if isinstance(propeller, str) and propeller in subject.propellers:
            # Rows are in common order, so that this campaign's own motors keep what they share with it.
            return replace(propeller_draws(subject, propeller), origin="library", source=subject.fit_id)
    return propeller_draws(subjects[0], propeller, library)


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
        found = list(machine.warnings)
        found += envelope_cautions(subject, machine.propeller, machine.supply.nominal_v, curves, grid)
        found += running_cautions(
            curves, grid, points.limited.mean(axis=0), 1.0 - points.turning.mean(axis=0), machine.propeller,
            machine.air,
        )  # fmt: skip
        yield from ((subject.name, caution) for caution in found)


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
