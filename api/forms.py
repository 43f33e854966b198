"""Answers as columns, for those who want a table rather than a tree."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

import motorfit
from motorfit.answers.bands import Band
from motorfit.answers.draws import DrawTable

from .tables import Column, Table

_UNITS = (
    ("_rpm_per_s", "rpm/s"),
    ("_per_watt_g", "g/W"),
    ("_rpm", "rpm"),
    ("_nm", "N m"),
    ("_n", "N"),
    ("_a", "A"),
    ("_w", "W"),
    ("_v", "V"),
    ("_s", "s"),
    ("_c", "degC"),
)


def of_draws(table: DrawTable) -> Table:
    """Return draws as columns, the number of each draw first."""
    columns = [Column("draw", table.draw.astype(np.int64), "", "number of the draw, over all chains")]
    columns += [Column(c.key, c.values, c.unit, c.meaning) for c in table.columns]
    return Table("sample", columns, _facts(motor=table.motor, fit=table.fit_id))


def of_curves(abscissa: str, x: Any, curves: Mapping[str, Band], facts: Mapping[str, Any]) -> Table:
    """Return curves with bands as three columns each over their abscissa."""
    columns = [Column(abscissa, np.asarray(x, dtype=np.float64), unit_in(abscissa))]
    for name, band in curves.items():
        for kind in ("median", "low", "high"):
            columns.append(Column(f"{name}_{kind}", getattr(band, kind), unit_in(name)))
    told = json.dumps(facts.get("warnings", []), ensure_ascii=False)
    return Table("point", columns, _facts(**facts) | {"warnings": told})


def unit_in(name: str) -> str:
    """Return the unit that a name ends in, empty for a ratio."""
    for end, unit in _UNITS:
        if re.search(rf"{end}$", name):
            return unit
    return ""


def _facts(**facts: Any) -> dict[str, str | int | float]:
    plain = {k: v for k, v in facts.items() if isinstance(v, (str, int, float)) and not isinstance(v, bool)}
    return {**plain, "written_by": f"motorfit {motorfit.__version__}"}
