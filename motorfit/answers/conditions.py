"""Propeller and voltage to compare motors at where nobody states them: what all were tested with."""

from __future__ import annotations

import math
from collections.abc import Sequence

from motorfit.answers.facts import envelope
from motorfit.answers.posterior import FitLike
from motorfit.answers.propeller_stated import StatedPropeller


def usual_propeller(fits: Sequence[FitLike]) -> str | None:
    """Return the propeller that most of the motors were run with; None where their campaigns have none.

    Of several alike, the one first in the campaign of the first motor that has any.
    """
    names = list(dict.fromkeys(name for fit in fits for name in fit.propellers))
    if not names:
        return None

    def ran(name: str) -> tuple[int, int]:
        holders = [fit for fit in fits if name in fit.propellers]
        return sum(envelope(fit, name) is not None for fit in holders), len(holders)

    return max(names, key=ran)  # the first of equals


def usual_voltage(fits: Sequence[FitLike], propeller: str | StatedPropeller | None) -> float | None:
    """Return the least of the motors' highest tested voltages [V], to a tenth; None where none was logged.

    With the propeller where a motor ran it, else overall, so that none is asked beyond what it was tested at.
    """
    tops = []
    for fit in fits:
        own = envelope(fit, propeller) if isinstance(propeller, str) else None
        tested = own or envelope(fit)
        if tested is not None and tested.voltage_v is not None:
            tops.append(tested.voltage_v[1])
    least = math.floor(min(tops) * 10.0) / 10.0 if tops else 0.0
    return least if least > 0.0 else None
