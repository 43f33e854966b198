"""What a reader should know before using a fit's numbers, as plain sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from motorfit.answers.lessons import teacher
from motorfit.answers.posterior import FitWithData
from motorfit.answers.show import MotorSummary
from motorfit.quantities import CHANNELS, PARAMETERS
from motorfit.report.format import percent

# A channel with this much less than the promised share of blocks inside its band is named.
_SHORTFALL = 0.15
_FEWEST_BLOCKS = 20

ALWAYS = (
    "Intervals hold for this bench, these units and static running. Predictions warn where they leave what "
    "was tested; they certify nothing. Local rules and licensed practice come first."
)


def page_cautions(
    fits: Sequence[FitWithData], summaries: Sequence[MotorSummary], interval: float
) -> list[str]:
    """Return the cautions of a page: findings, misfits, what was not learned, and the standing one."""
    found: list[str] = []
    for fit in fits:
        found += finding_remarks(fit)
        found += misfit_remarks(fit, interval)
    for summary in summaries:
        found += not_learned_remarks(summary)
    return [*dict.fromkeys(found), ALWAYS]


def finding_remarks(fit: FitWithData) -> list[str]:
    """Return errors and warnings that reading and checking the logs left with the fit."""
    stored = fit.attributes.get("findings")
    if not isinstance(stored, Sequence) or isinstance(stored, str):
        return []
    found = []
    for entry in stored:
        if isinstance(entry, Mapping) and entry.get("severity") in ("error", "warning"):
            where = ", ".join(str(entry[key]) for key in ("run", "channel") if entry.get(key))
            found.append(f"{where}: {entry.get('message', '')} {entry.get('remedy', '')}".strip())
    return found


def misfit_remarks(fit: FitWithData, interval: float) -> list[str]:
    """Name run and channel where far fewer blocks fall inside the predictive band than should."""
    runs = fit.observed.get("block_run")
    if runs is None:
        return []
    names = np.asarray([str(run) for run in runs])
    tail = 0.5 * (1.0 - interval)
    found = []
    for channel in CHANNELS:
        if channel not in fit.observed or channel not in fit.predictive:
            continue
        observed = np.asarray(fit.observed[channel], dtype=np.float64)
        low, high = np.quantile(
            np.asarray(fit.predictive[channel], dtype=np.float64), (tail, 1.0 - tail), axis=0
        )
        known = np.isfinite(observed) & np.isfinite(low) & np.isfinite(high)
        inside = (observed >= low) & (observed <= high)
        for run in dict.fromkeys(names.tolist()):
            of_run = known & (names == run)
            if of_run.sum() < _FEWEST_BLOCKS or inside[of_run].mean() >= interval - _SHORTFALL:
                continue
            share = percent(float(inside[of_run].mean()))
            found.append(
                f"{run}: only {share} of the {channel.replace('_', ' ')} blocks "
                f"lie inside the {percent(interval)} predictive band: model and log disagree there."
            )
    return found


def not_learned_remarks(summary: MotorSummary) -> list[str]:
    """Say what was not learned and what would teach it, one sentence a lesson; sensor errors are left out.

    What belongs to the motor carries its id; what a campaign shares (propellers, controller) does not, so
    that the motors of one campaign give the same sentence.
    """
    lessons: dict[tuple[str, str], list[str]] = {}
    dull = {p.key for p in summary.not_learned}
    for parameter in summary.not_learned:
        quantity = PARAMETERS.get(parameter.name)
        if quantity is None or quantity.per == "channel":
            continue  # a sensor's own error is the prior's to know; no reader waits for it
        owner = {"motor": summary.motor, "propeller": parameter.propeller or ""}.get(quantity.per, "bench")
        leading = f"thrust_coefficient[{parameter.propeller}]"
        if quantity.per == "propeller" and leading in dull and parameter.name != "prop_inertia":
            # What teaches its thrust teaches the rest of it: one sentence for a propeller that was not run.
            lesson = teacher("figure_of_merit", parameter.propeller)
        else:
            lesson = teacher(parameter.name, parameter.propeller)
        lessons.setdefault((owner, lesson), []).append(parameter.name)
    return [
        f"{owner}: not learned: {', '.join(names)}. What would teach: {lesson}."
        for (owner, lesson), names in lessons.items()
    ]
