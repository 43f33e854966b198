"""Which further run would narrow a quantity most, and to what."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.bands import check_interval
from motorfit.answers.candidates import Candidate, candidates, would_log
from motorfit.answers.errors import AnswerError
from motorfit.answers.plain import number
from motorfit.answers.posterior import FloatArray
from motorfit.bench.logs import RunLog
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import reduce_runs
from motorfit.errors import MotorfitError
from motorfit.inference.assemble import Values
from motorfit.inference.design import precision_of, variance_ratio
from motorfit.inference.draws import parameters_of
from motorfit.inference.graph import Graph, build_graph
from motorfit.inference.positions import Positions, posterior_positions
from motorfit.quantities import PARAMETERS

Progress = Callable[[str, float], None]

SAFETY = (
    "A run spins propellers or a disc: stay within their makers' speed limits and those of the stand, guard "
    "it, keep clear, and keep to local rules."
)
_NARROWS = 0.95
"""Expected width, relative to the present one, above which a run is not worth making for this quantity."""


@dataclass(frozen=True)
class Expected:
    """A candidate with the interval it is expected to leave, in the quantity's unit."""

    candidate: Candidate
    sd: float
    low: float
    high: float
    width_ratio: float

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        c = self.candidate
        return {
            "run": c.text, "kind": c.kind, "motor": c.motor, "propeller": c.propeller, "flywheel": c.flywheel,
            "voltage_v": number(c.voltage_v), "current_limit_a": c.limit_a, "sd": number(self.sd),
            "low": number(self.low), "high": number(self.high), "width_ratio": number(self.width_ratio),
        }  # fmt: skip


@dataclass(frozen=True)
class NextRun:
    """What is known of a quantity now, and what each candidate would leave, best first.

    ``low`` and ``high`` of a candidate are about the present median: where the interval will lie is not
    known, only how wide it is expected to be.
    """

    quantity: str
    motor: str
    unit: str
    interval: float
    median: float
    low: float
    high: float
    sd: float
    candidates: tuple[Expected, ...]
    sound: bool

    @property
    def sentence(self) -> str:
        """What to do."""
        if not self.candidates:
            return "No candidate run could be simulated for this bench."
        best = self.candidates[0]
        if best.width_ratio > _NARROWS:
            return (
                f"No further run of these kinds would narrow {self.quantity} much: what is left of its doubt "
                "is the sensors' calibration or another prior. Calibrate, or measure it by other means."
            )
        return (
            f"A {best.candidate.text} would narrow {self.quantity} most: its interval is expected to shrink "
            f"to {100.0 * best.width_ratio:.0f} % of its present width."
        )

    def to_json(self) -> dict[str, Any]:
        """Return ``next --json``: plain types only, no NaN."""
        return {
            "quantity": self.quantity,
            "motor": self.motor,
            "unit": self.unit,
            "interval": self.interval,
            "now": {
                "median": number(self.median), "low": number(self.low), "high": number(self.high),
                "sd": number(self.sd),
            },
            "candidates": [c.to_json() for c in self.candidates],
            "sound": self.sound,
            "sentence": self.sentence,
            "caution": SAFETY,
        }  # fmt: skip


def next_run(
    campaign: Campaign,
    logs: Sequence[RunLog],
    quantity: str,
    *,
    motor: str | None = None,
    interval: float = 0.9,
    seed: int = 0,
    draws: int = 2400,
    truths: int = 3,
    progress: Progress | None = None,
) -> NextRun:
    """Rank the runs that a bench could make next by what they would teach of one quantity.

    Parameters
    ----------
    campaign, logs:
        A campaign and its logs, checked.
    quantity:
        A parameter of the nomenclature, such as ``kt``, or ``thrust_coefficient[p7x35x3]``.
    motor:
        The motor it is of, and that the runs would be made with; may be left out where there is only one.
    interval:
        Probability inside the intervals.
    seed, draws:
        Of the fit.
    truths:
        Draws of the posterior at which each candidate is simulated.
    progress:
        Told the stage and the share of the work done.

    Raises
    ------
    AnswerError
        No such motor or quantity.
    """
    check_interval(interval)
    chosen = _motor(campaign, logs, motor)
    tell = progress or (lambda stage, share: None)
    tell("reducing logs", 0.0)
    runs = reduce_runs(logs)
    _quantity(
        build_graph(campaign, runs), chosen, quantity
    )  # before the fit: a slip of the pen is told at once
    known = posterior_positions(
        campaign, runs, seed=seed, draws=draws, progress=lambda stage, share: tell(stage, 0.6 * share)
    )
    graph = known.target.graph
    value = _quantity(graph, chosen, quantity)
    values = value(known.target.values(known.z))
    positive = bool((values > 0.0).all())

    def shown(v: Values) -> FloatArray:
        return np.log(value(v)) if positive else value(v)

    rng = np.random.default_rng([seed, 2])
    picked = known.z[rng.choice(known.z.shape[0], truths, replace=False)]
    precision = precision_of(known.z)
    tail = 0.5 * (1.0 - interval)
    low, median, high = (float(x) for x in np.quantile(values, (tail, 0.5, 1.0 - tail)))
    found = []
    options = candidates(campaign, runs, chosen)
    for k, candidate in enumerate(options):
        tell(candidate.text, 0.6 + 0.4 * k / len(options))
        ratio = _ratio(known, runs, candidate, picked, precision, shown, seed)
        if ratio is not None:
            found.append(
                Expected(
                    candidate, float(values.std()) * ratio, _toward(median, low, ratio, positive),
                    _toward(median, high, ratio, positive), ratio,
                )
            )  # fmt: skip
    found.sort(key=lambda e: e.width_ratio)
    return NextRun(
        quantity, chosen, PARAMETERS[quantity.split("[", 1)[0]].unit, float(interval), median, low, high,
        float(values.std()), tuple(found), known.sound,
    )  # fmt: skip


def _ratio(
    known: Positions, runs: Sequence[Any], candidate: Candidate, picked: FloatArray, precision: FloatArray,
    shown: Callable[[Values], FloatArray], seed: int,
) -> float | None:  # fmt: skip
    """Expected width of the interval over the present one; None where the run cannot be simulated."""
    ratios = []
    for k, z in enumerate(picked):
        rng = np.random.default_rng([seed, 3, k])
        try:
            run = would_log(known, runs, candidate, z, rng)
            ratios.append(variance_ratio(known, precision, z, run, shown, rng))
        except MotorfitError:
            continue
    return math.sqrt(float(np.mean(ratios))) if ratios else None


def _toward(median: float, end: float, ratio: float, positive: bool) -> float:
    if positive:
        return float(median * (end / median) ** ratio)
    return median + ratio * (end - median)


def _motor(campaign: Campaign, logs: Sequence[RunLog], motor: str | None) -> str:
    told = {log.run.motor for log in logs} | {m.motor for m in campaign.measurements}
    ids = [m.id for m in campaign.motors if m.id in told]
    if motor is None and len(ids) == 1:
        return ids[0]
    if motor not in ids:
        raise AnswerError("motor", motor, ", ".join(ids) or "none", "Name one of them with --motor.")
    return str(motor)


def _quantity(graph: Graph, motor: str, quantity: str) -> Callable[[Values], FloatArray]:
    """The function from natural values to the quantity, (draws,)."""
    name, _, owner = quantity.removesuffix("]").partition("[")
    propellers = [p.id for p in graph.campaign.propellers]
    zero = Values(graph, graph.natural(np.zeros((1, graph.size))))
    there = parameters_of(graph, zero, motor, (1, 1))
    if not owner and len(propellers) == 1 and name in there and there[name].ndim == 3:
        owner = propellers[0]
        quantity = f"{name}[{owner}]"
    names = [
        key if there[key].ndim == 2 else f"{key}[{propeller}]"
        for key in there
        for propeller in (propellers if there[key].ndim == 3 else propellers[:1] or [""])
    ]
    if quantity not in names and not (name in there and there[name].ndim == 2 and owner == motor):
        listed = ", ".join(
            n for n in names if not n.startswith(("gain_", "offset_", "delay_", "lag_", "jump_"))
        )
        raise AnswerError("for", quantity, listed, "Name a parameter that this campaign can learn.")

    def value(v: Values) -> FloatArray:
        draws = parameters_of(graph, v, motor, (1, v.draws))[name]
        return np.asarray(draws[0] if draws.ndim == 2 else draws[0, :, propellers.index(owner)])

    return value
