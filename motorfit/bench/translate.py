"""From the validation library's errors to faults in the words of the campaign file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from motorfit.bench.faults import MISSING, Fault, join, listed, shown, suggestion

_NUMBERS = {
    "greater_than": ("gt", "a number above"),
    "greater_than_equal": ("ge", "a number of at least"),
    "less_than": ("lt", "a number below"),
    "less_than_equal": ("le", "a number of at most"),
}
_TYPES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "finite_number": "a finite number",
    "path_type": "a file's path in quotes",
    "is_instance_of": "a file's path in quotes",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "mapping_type": "a table",
    "dict_type": "a table",
}
_REMEDIES = {
    "temperature_c": "Give degrees Celsius.",
    "pressure_hpa": "Give station pressure in hPa (about 1013 at sea level, not Pa, not mmHg).",
    "humidity_pct": "Give relative humidity in percent.",
    "gain_sd": "Give the relative one-sigma doubt, such as 0.01 for one per cent.",
    "pole_pairs": "Count the magnets and halve.",
}


def _fields(model: type[BaseModel], location: Sequence[str | int]) -> list[str]:
    """Names allowed at the place where an unknown key stands."""
    current: Any = model
    for part in location[:-1]:
        field = (
            current.model_fields.get(part)
            if isinstance(part, str) and hasattr(current, "model_fields")
            else None
        )
        if field is not None:
            current = field.annotation
        # A mapping of parts (channels, columns): one level of names, then the part itself.
        for argument in getattr(current, "__args__", ()):
            if isinstance(argument, type) and issubclass(argument, BaseModel):
                current = argument
    return list(getattr(current, "model_fields", {}))


def _translate(error: Mapping[str, Any], model: type[BaseModel], path: str) -> Fault:
    kind, context = error["type"], error.get("ctx", {})
    # The arms of "text or number" are the validator's own, not keys of the file.
    location = [p for p in error["loc"] if p not in ("constrained-str", "constrained-int", "str", "int")]
    where, value = join(path, *location), shown(error["input"])
    key = str(location[-1]) if location else path
    remedy = _REMEDIES.get(key, "Correct the value.")
    if kind == "extra_forbidden":
        names = _fields(model, location)
        return Fault(
            where, value, listed(names, 30), suggestion(key, names, "Remove this key; it is not known.")
        )
    if kind == "missing":
        return Fault(where, MISSING, "it is required", f"Add {key} to {path or 'the file'}.")
    if kind == "one_of":
        return Fault(path, f"({context['found']})", context["allowed"], f"Give one of {context['names']}.")
    if kind == "literal_error":
        # The library writes the choices as 'a', 'b' or 'c'.
        names = [n.strip("' ") for n in context["expected"].replace(" or ", ", ").split(", ")]
        return Fault(where, value, listed(names), suggestion(error["input"], names, "Use one of these."))
    if kind == "string_pattern_mismatch":
        return Fault(where, value, "letters, digits, . _ - (not . or - first)", "Rename it.")
    if kind == "string_too_long":
        return Fault(where, value, f"at most {context['max_length']} characters", "Shorten it.")
    if kind == "string_too_short":
        return Fault(where, value, "text that is not empty", "Fill it in.")
    if kind in _NUMBERS:
        limit, words = _NUMBERS[kind]
        return Fault(where, value, f"{words} {context[limit]:g}", remedy)
    allowed = _TYPES.get(kind, error["msg"])
    if kind in ("float_type", "int_type") and isinstance(error["input"], str):
        remedy = "Take the quotes away: a number stands without them and without a unit."
    return Fault(where, value, allowed, remedy)


def faults_of(error: ValidationError, model: type[BaseModel], path: str) -> list[Fault]:
    """The faults behind a validation error of `model` read at `path`, one per key."""
    found: dict[str, Fault] = {}
    for entry in error.errors(include_url=False):
        fault = _translate(entry, model, path)
        earlier = found.get(fault.path)
        if earlier is not None and earlier.allowed != fault.allowed and earlier.value == fault.value:
            fault = Fault(fault.path, fault.value, f"{earlier.allowed} or {fault.allowed}", fault.remedy)
        found[fault.path] = fault
    return list(found.values())
