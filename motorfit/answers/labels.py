"""Is it what its label says: K_v against what is printed, and any claimed figure against the posterior."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.bands import band
from motorfit.answers.errors import AnswerError
from motorfit.answers.figures import label_kv
from motorfit.answers.metrics import Metric
from motorfit.answers.pairing import Subject
from motorfit.answers.plain import chance, number, off_by
from motorfit.answers.posterior import FloatArray, parameter

STEPS = (0.01, 0.03, 0.05)
"""Relative distances for which the probability of lying within is given."""
SIGMA = (0.158655, 0.841345)


@dataclass(frozen=True)
class Claimed:
    """A claimed figure beside what the posterior says of it.

    Attributes
    ----------
    motor, metric, unit : what it is of
    claimed : the figure, in that unit
    median, low, high : of the unit that was tested
    deviation : (median, low, high) of tested over claimed, less 1
    within : distance -> probability that the tested unit lies within that of the claim
    other_unit : (median, low, high) of another unit of the model
    z : distance of the claim from another unit's median, in half-widths of its central 68 %
    probability_as_far : of another unit lying as far off or farther, to either side
    printed : True of the K_v on the label
    """

    motor: str
    metric: str
    unit: str
    claimed: float
    median: float
    low: float
    high: float
    deviation: tuple[float, float, float]
    within: Mapping[float, float]
    other_unit: tuple[float, float, float]
    z: float
    probability_as_far: float
    printed: bool = False

    @property
    def text(self) -> str:
        """Two sentences."""
        as_far = chance(self.probability_as_far)
        off = [off_by(share) for share in self.deviation]
        of = "the label's" if self.printed else "the claimed"
        unit = "" if self.unit == "1" else f" {self.unit}"
        steps = ", ".join(f"{100.0 * step:g} %" for step in self.within)
        close = ", ".join(chance(p) for p in self.within.values())
        what = "label" if self.printed else "claim"
        verdict = (
            f"so the {what} is unlike what units of this model show"
            if self.probability_as_far < 0.05
            else f"so the {what} may well be true of the model"
        )
        return (
            f"{self.motor}: {self.metric} of the unit tested is {off[0]} % ({off[1]} to {off[2]} %) from "
            f"{of} {self.claimed:g}{unit}; within {steps} of it with probability {close}. Another unit of "
            f"the model would lie as far from it with probability {as_far}, {verdict}."
        )

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        spread = ("median", "low", "high")
        return {
            "motor": self.motor,
            "metric": self.metric,
            "unit": self.unit,
            "claimed": self.claimed,
            "median": number(self.median),
            "low": number(self.low),
            "high": number(self.high),
            "deviation": {k: number(v) for k, v in zip(spread, self.deviation, strict=True)},
            "probability_within": {f"{step:g}": number(p) for step, p in self.within.items()},
            "another_unit": {k: number(v) for k, v in zip(spread, self.other_unit, strict=True)},
            "z": number(self.z),
            "probability_as_far": number(self.probability_as_far),
            "text": self.text,
        }


def claimed(
    motor: str, metric: Metric, figure: float, tested: FloatArray, other_unit: FloatArray, interval: float,
    *, printed: bool = False,
) -> Claimed:  # fmt: skip
    """Set a claimed figure beside the draws of it.

    Parameters
    ----------
    motor : name
    metric : what is claimed
    figure : the claim, in the metric's unit, above 0
    tested, other_unit : (S,) draws of the unit that was tested, and of another of its model
    interval : probability inside low..high
    printed : True of the K_v on the label

    Raises
    ------
    AnswerError
        A claim that is not above 0.
    """
    if not (np.isfinite(figure) and figure > 0.0):
        raise AnswerError(
            f"claim {metric.name}", figure, f"a figure above 0 {metric.unit}", "Give 12.5, say."
        )
    ratio = tested / figure - 1.0
    rows = band(np.stack([tested, ratio, other_unit]), interval)
    spread = [(float(rows.median[k]), float(rows.low[k]), float(rows.high[k])) for k in range(3)]
    known, others = ratio[np.isfinite(ratio)], other_unit[np.isfinite(other_unit)]
    size = max(len(known), 1)
    within = {step: float((np.abs(known) <= step).sum() / size) for step in STEPS}
    if not len(others):
        z = as_far = float("nan")
    else:
        low, median, high = np.quantile(others, (SIGMA[0], 0.5, SIGMA[1]))
        half = max(0.5 * float(high - low), 1e-12 * figure)
        z = (figure - float(median)) / half
        below = float((others < figure).mean())
        as_far = min(1.0, 2.0 * max(min(below, 1.0 - below), 0.5 / len(others)))
    return Claimed(
        motor,
        metric.name,
        metric.unit,
        float(figure),
        *spread[0],
        spread[1],
        within,
        spread[2],
        z,
        as_far,
        printed,
    )


def label_figure(subject: Subject) -> tuple[float, FloatArray] | None:
    """Return the printed K_v [rpm/V] and the draws of the true one; None where nothing is printed."""
    label, values = label_kv(subject), parameter(subject, "kv")
    return None if label is None or values is None else (label, values)
