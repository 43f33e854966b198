"""The propellers of a library: coefficients with intervals, and where they come from."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from motorfit.answers.bands import check_interval
from motorfit.answers.plain import number
from motorfit.answers.posterior import FloatArray
from motorfit.answers.propeller_tested import LibraryPropeller, library_propellers
from motorfit.answers.show import quantiles
from motorfit.physics.propeller import figure_of_merit


@dataclass(frozen=True)
class Estimate:
    """Median and equal-tailed interval of one figure, in the unit of its name."""

    median: float
    low: float
    high: float

    def to_json(self) -> dict[str, float | None]:
        """Return ``{"median": x, "low": x, "high": x}``."""
        return {"median": number(self.median), "low": number(self.low), "high": number(self.high)}


@dataclass(frozen=True)
class PropellerSummary:
    """A propeller as one campaign of the library knows it.

    Attributes
    ----------
    propeller, campaign_fit, campaign, bench : its id, and where its coefficients come from
    diameter_m, pitch_m, blades, reference_rev_per_s : geometry, and the speed the coefficients hold at
    interval : probability inside each estimate
    estimates : by name of the nomenclature: `thrust_coefficient`, `torque_coefficient`, `figure_of_merit`,
        `thrust_reynolds_exponent`, `torque_reynolds_exponent` [1] and, where known, `prop_inertia` [kg m²]
    learned : the names among them that the campaign's runs taught; the others stand at their prior
    """

    propeller: str
    campaign_fit: str
    campaign: str
    bench: str
    diameter_m: float
    pitch_m: float
    blades: int
    reference_rev_per_s: float
    interval: float
    estimates: dict[str, Estimate]
    learned: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain types only."""
        return {
            "propeller": self.propeller,
            "campaign_fit": self.campaign_fit,
            "campaign": self.campaign,
            "bench": self.bench,
            "diameter_in": number(self.diameter_m / 0.0254),
            "pitch_in": number(self.pitch_m / 0.0254),
            "blades": self.blades,
            "reference_rpm": number(60.0 * self.reference_rev_per_s),
            "interval": self.interval,
            "estimates": {name: estimate.to_json() for name, estimate in self.estimates.items()},
            "learned": list(self.learned),
        }


def list_propellers(library: Path, interval: float = 0.9) -> list[PropellerSummary]:
    """Return the propellers that campaigns of a library tested, by id, latest campaign last.

    Of several fits of one campaign the latest counts. A propeller of several campaigns has an entry for each.

    Raises
    ------
    AnswerError
        The interval is outside 0.01 to 0.999.
    """
    check_interval(interval)
    found = [summary_of(propeller, interval) for propeller in library_propellers(library)]
    return sorted(found, key=lambda s: (s.propeller, s.campaign_fit))


def summary_of(propeller: LibraryPropeller, interval: float = 0.9) -> PropellerSummary:
    """Summarise one tested propeller."""
    figures: dict[str, FloatArray] = {
        "thrust_coefficient": propeller.thrust,
        "torque_coefficient": propeller.torque,
        "figure_of_merit": np.asarray(figure_of_merit(propeller.thrust, propeller.torque)),
        "thrust_reynolds_exponent": propeller.thrust_exponent,
        "torque_reynolds_exponent": propeller.torque_exponent,
    }
    if propeller.inertia is not None:
        figures["prop_inertia"] = propeller.inertia
    thrust, merit, *exponents = propeller.learned
    told = (thrust, thrust and merit, merit, *exponents)
    geometry = propeller.geometry
    return PropellerSummary(
        propeller=propeller.name,
        campaign_fit=propeller.campaign_fit,
        campaign=propeller.campaign,
        bench=propeller.bench,
        diameter_m=geometry.diameter_m,
        pitch_m=geometry.pitch_m,
        blades=geometry.blades,
        reference_rev_per_s=propeller.reference_rev_per_s,
        interval=interval,
        estimates={name: _estimate(values, interval) for name, values in figures.items()},
        learned=tuple(name for name, flag in zip(figures, told, strict=False) if flag),
    )


def _estimate(values: FloatArray, interval: float) -> Estimate:
    tail = 0.5 * (1.0 - interval)
    low, median, high = (float(v) for v in quantiles(values, (tail, 0.5, 1.0 - tail)))
    return Estimate(median, low, high) if math.isfinite(median) else Estimate(math.nan, math.nan, math.nan)
