"""A posterior's draws as columns, all of them or evenly spaced ones, for those who compute on their own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.plain import numbers
from motorfit.answers.posterior import FitLike, FloatArray, count, flat
from motorfit.answers.question import pick_rows
from motorfit.answers.show import unit_of
from motorfit.quantities import PARAMETERS


@dataclass(frozen=True)
class DrawColumn:
    """Draws (S,) of one parameter: ``kv``, or ``thrust_coefficient[p7x35x3]`` for a propeller's."""

    key: str
    unit: str
    meaning: str
    values: FloatArray


@dataclass(frozen=True)
class DrawTable:
    """Columns over the same draws; ``draw`` (S,) numbers them over all chains; the fit holds ``held``.

    Equal numbers of two motors fitted together share one draw of the bench.
    """

    motor: str
    fit_id: str
    held: int
    draw: NDArray[np.intp]
    columns: tuple[DrawColumn, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain types, null for what is not finite."""
        return {
            "motor": self.motor,
            "fit": self.fit_id,
            "draws_held": self.held,
            "draw": self.draw.tolist(),
            "parameters": {c.key: {"unit": c.unit, "values": numbers(c.values)} for c in self.columns},
        }


def draw_table(fit: FitLike, draws: int | None = None, parameters: Sequence[str] = ()) -> DrawTable:
    """Return draws of the parameters named (all where none is), evenly spaced where fewer are wanted.

    Raises
    ------
    AnswerError
        A parameter that the fit does not hold.
    """
    unknown = [name for name in parameters if name not in fit.draws]
    if unknown:
        raise AnswerError("parameters", unknown[0], ", ".join(sorted(fit.draws)), "Leave it out for all.")
    held = count(fit)
    rows, _ = pick_rows(held, draws)
    taken = np.arange(held) if rows is None else rows
    columns: list[DrawColumn] = []
    for name in parameters or sorted(fit.draws):
        values = flat(fit.draws[name])[taken]
        known = PARAMETERS.get(name)
        facts = (unit_of(name), "" if known is None else known.meaning)
        if values.ndim == 1:
            columns.append(DrawColumn(name, *facts, values))
            continue
        for index, propeller in enumerate(fit.propellers):
            columns.append(DrawColumn(f"{name}[{propeller}]", *facts, values[:, index]))
    return DrawTable(fit.motor, fit.fit_id, held, taken, tuple(columns))
