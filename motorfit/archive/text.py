"""Attributes of a netCDF file: short texts and numbers as they are, everything else as JSON text.

NetCDF attributes know no truth value, no null and no nesting. Which attributes are JSON is itself an
attribute, `json_attributes`, so that a text that looks like JSON comes back as the text it was.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from motorfit.archive.netcdf import Attribute

_MARK = "json_attributes"
_INT64 = 2**63


def to_attributes(facts: Mapping[str, Any]) -> dict[str, Attribute]:
    """Return attributes that netCDF can hold, marked for `from_attributes`.

    Numbers that are not finite have no JSON; inside a nested value they become null.
    """
    attributes: dict[str, Attribute] = {}
    encoded: list[str] = []
    for name in sorted(facts):
        value = plain(facts[name])
        if _is_storable(value):
            attributes[name] = value
        else:
            attributes[name] = json.dumps(value, ensure_ascii=False, sort_keys=True)
            encoded.append(name)
    attributes[_MARK] = json.dumps(encoded)
    return attributes


def from_attributes(attributes: Mapping[str, Any]) -> dict[str, Any]:
    """Return what `to_attributes` was given; attributes it did not write come back as they are."""
    encoded = set(json.loads(str(attributes.get(_MARK, "[]"))))
    return {
        name: json.loads(str(value)) if name in encoded else _native(value)
        for name, value in attributes.items()
        if name != _MARK
    }


def plain(value: Any) -> Any:
    """Return a value in JSON's own types: numpy unwrapped, tuples as lists, non-finite numbers as null."""
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    if value is None or isinstance(value, (str, bool, int)):
        return value
    return str(value)


def _is_storable(value: Any) -> bool:
    if isinstance(value, str):
        return value != "" and "\0" not in value
    if isinstance(value, bool):
        return False
    return isinstance(value, float) or (isinstance(value, int) and -_INT64 <= value < _INT64)


def _native(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value
