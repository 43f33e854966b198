"""Faults of a campaign file: each with its key's path, its value, what is allowed and the remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from motorfit.errors import MotorfitError

MISSING = "(missing)"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a campaign file.

    Attributes
    ----------
    path: the key's path, such as ``runs[2].propeller`` (lists count from 0).
    value: the value as it would be written, or "(missing)".
    allowed: what may stand there.
    remedy: how to mend it.
    """

    path: str
    value: str
    allowed: str
    remedy: str

    def __str__(self) -> str:
        head = f"{self.path} is missing" if self.value == MISSING else f"{self.path} = {self.value}"
        return f"{head}; allowed: {self.allowed}. {self.remedy}"


class CampaignError(MotorfitError):
    """A campaign file cannot be used; `faults` holds every fault of it."""

    def __init__(self, path: Path, faults: Iterable[Fault]) -> None:
        self.path = path
        self.faults = tuple(faults)
        count = len(self.faults)
        head = f"{path}: {count} fault{'' if count == 1 else 's'} in the campaign file"
        super().__init__("\n".join([head, *(f"  - {fault}" for fault in self.faults)]))


def shown(value: object) -> str:
    """A value as the file would write it, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (str, Path)):
        text = f'"{value}"'
    elif isinstance(value, Mapping):
        text = "a table"
    elif isinstance(value, list):
        text = f"a list of {len(value)}"
    else:
        text = str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def nearest(word: object, choices: Iterable[str]) -> str | None:
    """The choice that `word` is most likely a slip of, or None."""
    if not isinstance(word, str):
        return None
    plain = {choice.casefold(): choice for choice in choices}
    found = difflib.get_close_matches(word.casefold(), list(plain), n=1, cutoff=0.6)
    return plain[found[0]] if found else None


def listed(choices: Iterable[str], most: int = 12) -> str:
    """Choices in a row, for a message."""
    names = list(choices)
    if not names:
        return "none is declared"
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def suggestion(word: object, choices: Iterable[str], otherwise: str) -> str:
    """`Did you mean "x"?` where there is a near match, else `otherwise`."""
    near = nearest(word, choices)
    return otherwise if near is None else f'Did you mean "{near}"?'


def join(path: str, *parts: str | int) -> str:
    """A key's path, continued."""
    for part in parts:
        path += f"[{part}]" if isinstance(part, int) else (f".{part}" if path else part)
    return path


_NUMBERS = {"greater_than": ("gt", "a number above"), "greater_than_equal": ("ge", "a number of at least"),
            "less_than": ("lt", "a number below"), "less_than_equal": ("le", "a number of at most")}
_TYPES = {"float_type": "a number", "int_type": "a whole number", "int_from_float": "a whole number",
          "string_type": "text in quotes", "bool_type": "true or false", "finite_number": "a finite number",
          "path_type": "a file's path in quotes", "is_instance_of": "a file's path in quotes",
          "model_type": "a table", "model_attributes_type": "a table", "mapping_type": "a table",
          "dict_type": "a table"}
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
        field = current.model_fields.get(part) if isinstance(part, str) and hasattr(current, "model_fields") else None
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
        return Fault(where, value, listed(names, 30), suggestion(key, names, "Remove this key; it is not known."))
    if kind == "missing":
        return Fault(where, MISSING, "it is required", f"Add {key} to {path or 'the file'}.")
    if kind == "one_of":
        return Fault(path, context["found"], context["allowed"], f"Give one of {context['names']}.")
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
