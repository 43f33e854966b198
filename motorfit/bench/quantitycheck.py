"""Checks of measurements and prior overrides: names, units, what they are of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from motorfit.bench.crosscheck import check_references
from motorfit.bench.faults import MISSING, Fault, join, listed, shown, suggestion
from motorfit.bench.models import Measurement, PriorOverride
from motorfit.quantities import PARAMETERS
from motorfit.units import UnitError, parameter_conversion

_NAMES = listed([n for n, q in PARAMETERS.items() if q.per != "channel"], 40) + (
    "; gain_, offset_, delay_ and lag_ of each channel"
)


def check_measurement(table: Mapping[str, Any], path: str, ids: Mapping[str, list[str]]) -> list[Fault]:
    """A measurement's quantity, its unit and what it is of."""
    faults = check_references(table, path, ids)
    name = table.get("quantity")
    if not isinstance(name, str):
        return faults
    if name not in PARAMETERS:
        return [
            *faults,
            Fault(
                join(path, "quantity"),
                shown(name),
                _NAMES,
                suggestion(name, PARAMETERS, "Use the name of a parameter."),
            ),
        ]
    quantity = PARAMETERS[name]
    if quantity.per in ("motor", "propeller", "flywheel") and table.get(quantity.per) is None:
        faults.append(
            Fault(
                join(path, quantity.per),
                MISSING,
                listed(ids[quantity.per]),
                f"Say which {quantity.per} this {name} is of.",
            )
        )
    faults += _unit(table.get("unit"), name, path)
    value = table.get("value")
    if quantity.positive and isinstance(value, (int, float)) and not faults and value <= 0:
        faults.append(
            Fault(join(path, "value"), shown(value), f"a number above 0 for {name}", "Correct the value.")
        )
    return faults


def _unit(unit: object, name: str, path: str) -> list[Fault]:
    wanted = PARAMETERS[name].unit
    where = join(path, "unit")
    if unit is None:
        return (
            []
            if wanted == "1"
            else [
                Fault(
                    where,
                    MISSING,
                    f"{wanted}, or any unit of the same kind",
                    f'Add unit = "{wanted}" if that is what it was measured in.',
                )
            ]
        )
    if not isinstance(unit, str):
        return [Fault(where, shown(unit), "a unit in quotes", f'Write unit = "{wanted}".')]
    try:
        parameter_conversion(name, unit)
    except UnitError as error:
        return [
            Fault(
                where,
                shown(unit),
                f"{wanted}, or any unit of the same kind",
                f"{str(error).partition(';')[0].capitalize()}.",
            )
        ]
    return []


def convert_measurement(part: Measurement, unit: str | None) -> Measurement:
    """The measurement in the unit of the table; its doubt by the factor alone."""
    if unit is None:
        return part
    c = parameter_conversion(part.quantity, unit)
    return part.model_copy(update={"value": c.factor * part.value + c.offset, "sd": c.factor * part.sd})


def check_prior(name: str, part: PriorOverride | None, unit: object, path: str) -> list[Fault]:
    """A prior override's name, unit and form."""
    if name not in PARAMETERS:
        return [
            Fault(
                path,
                "a table",
                _NAMES,
                suggestion(name, PARAMETERS, "Use the name of a parameter."),
            )
        ]
    faults = [] if unit is None else _unit(unit, name, path)
    if part is None:
        return faults
    if PARAMETERS[name].positive and part.center <= 0:
        faults.append(
            Fault(
                join(path, "center"), shown(part.center), f"a number above 0 for {name}", "Correct the value."
            )
        )
    if not PARAMETERS[name].positive and part.factor is not None:
        faults.append(
            Fault(
                join(path, "factor"),
                shown(part.factor),
                f"sd for {name}, which may be of either sign",
                "Give sd instead of factor.",
            )
        )
    return faults


def convert_prior(name: str, part: PriorOverride, unit: str | None) -> PriorOverride:
    """The prior override in the unit of the table; a factor has no unit."""
    if unit is None:
        return part
    c = parameter_conversion(name, unit)
    sd = None if part.sd is None else c.factor * part.sd
    return part.model_copy(update={"center": c.factor * part.center + c.offset, "sd": sd})
