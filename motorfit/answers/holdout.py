"""Leave runs out, fit the rest, predict what was left out, and score that."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.channelscore import ChannelScore, pooled, score_channel
from motorfit.answers.leaving import LeftOut, groups, one_run, supply_voltage, untold
from motorfit.answers.plain import number
from motorfit.answers.untested import by_geometry
from motorfit.bench.logs import RunLog
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun, reduce_runs
from motorfit.errors import MotorfitError
from motorfit.inference.positions import posterior_positions
from motorfit.inference.unseen import UnseenRun, predict_unseen

Progress = Callable[[str, float], None]

_REPLICAS, _FEWEST_REPLICAS = 800, 200
_MOST_VALUES = 1_500_000
"""Replicas × blocks held in memory at once, of each of eight channels."""


@dataclass(frozen=True)
class HeldRun:
    """One run as predicted without itself.

    ``voltage_v`` is the median of its supply [V], None where there is none; ``notes`` say what of it only
    the prior tells once it is left out.
    """

    run: str
    motor: str
    kind: str
    propeller: str | None
    voltage_v: float | None
    channels: tuple[ChannelScore, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        return {
            "run": self.run,
            "motor": self.motor,
            "kind": self.kind,
            "propeller": self.propeller,
            "voltage_v": None if self.voltage_v is None else number(self.voltage_v),
            "channels": {c.channel: c.to_json() for c in self.channels},
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class HeldOut:
    """One refit: what was left out, how the rest was fitted, and how well the left-out runs were predicted.

    ``channels`` are the scores over all runs left out together, what they share drawn once for all;
    ``problem`` is why there is no prediction, None where there is one.
    """

    campaign: str
    left_out: LeftOut
    fitted_runs: int
    method: str | None
    sound: bool
    runs: tuple[HeldRun, ...]
    channels: tuple[ChannelScore, ...]
    problem: str | None

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        return {
            "campaign": self.campaign,
            "left_out": {
                "by": self.left_out.by,
                "value": self.left_out.value,
                "runs": list(self.left_out.runs),
            },
            "fitted_runs": self.fitted_runs,
            "method": self.method,
            "sound": self.sound,
            "problem": self.problem,
            "channels": {c.channel: c.to_json() for c in self.channels},
            "runs": [r.to_json() for r in self.runs],
        }


@dataclass(frozen=True)
class Holdout:
    """All refits asked for."""

    held: tuple[HeldOut, ...]

    @property
    def channels(self) -> tuple[ChannelScore, ...]:
        """Scores by channel over everything left out, the refits taken as independent."""
        return pooled([c for h in self.held for c in h.channels])

    def to_json(self) -> dict[str, Any]:
        """Return ``holdout --json``: plain types only, no NaN."""
        return {
            "held_out": [h.to_json() for h in self.held],
            "channels": {c.channel: c.to_json() for c in self.channels},
        }


def holdout(
    campaign: Campaign,
    logs: Sequence[RunLog],
    *,
    run: str | None = None,
    leave: str | None = None,
    method: str = "auto",
    seed: int = 0,
    draws: int = 1600,
    progress: Progress | None = None,
) -> Holdout:
    """Predict runs from the others and score the predictions.

    Parameters
    ----------
    campaign, logs:
        A campaign and its logs, checked.
    run:
        Id of the one run to leave out; or
    leave:
        "run", "pair" (a motor with a propeller), "propeller" or "voltage": every one in turn.
    method, seed, draws:
        Of each fit.
    progress:
        Told the stage and the share of the work done.

    Raises
    ------
    AnswerError
        There is no such run, or nothing of that kind to leave out.
    MotorfitError
        The single refit asked for cannot be made; of several, the others are kept and this one says why.
    """
    tell = progress or (lambda stage, share: None)
    tell("reducing logs", 0.0)
    runs = reduce_runs(logs)
    wanted = (one_run(runs, run),) if run is not None else groups(runs, leave or "run")
    held = []
    for k, group in enumerate(wanted):

        def within(stage: str, share: float, k: int = k, value: str = group.value) -> None:
            tell(f"without {value}: {stage}", (k + share) / len(wanted))

        try:
            held.append(_without(campaign, runs, group, method, seed, draws, within))
        except MotorfitError as error:
            if len(wanted) == 1:
                raise
            fitted = len(runs) - len(group.runs)
            held.append(HeldOut(campaign.title, group, fitted, None, False, (), (), str(error)))
    return Holdout(tuple(held))


def joined(parts: Sequence[Holdout]) -> Holdout:
    """The refits of several campaigns in one."""
    return Holdout(tuple(h for part in parts for h in part.held))


def _without(
    campaign: Campaign, runs: tuple[BlockedRun, ...], group: LeftOut, method: str, seed: int, draws: int,
    progress: Progress,
) -> HeldOut:  # fmt: skip
    rest = tuple(r for r in runs if r.run.id not in group.runs)
    known = posterior_positions(campaign, rest, method=method, seed=seed, draws=draws, progress=progress)
    progress("predicting", 0.95)
    out = tuple(r for r in runs if r.run.id in group.runs)
    replicas = int(np.clip(_MOST_VALUES // sum(r.size for r in out), _FEWEST_REPLICAS, _REPLICAS))
    told = by_geometry(campaign, known, rest, out, np.random.default_rng([seed, 4]))
    unseen = predict_unseen(known, out, np.random.default_rng([seed, 1]), replicas, told)
    found = [
        HeldRun(
            r.run.id, r.run.motor, r.run.kind, r.run.propeller, supply_voltage(r), _scores([u]),
            untold(campaign, r, rest),
        )
        for r, u in zip(out, unseen, strict=True)
    ]  # fmt: skip
    return HeldOut(
        campaign.title, group, len(rest), known.method, known.sound, tuple(found), _scores(unseen), None
    )


def _scores(unseen: Sequence[UnseenRun]) -> tuple[ChannelScore, ...]:
    """Scores by channel over runs that were drawn together."""
    scores = []
    for channel in dict.fromkeys(name for u in unseen for name in u.observed):
        parts = [u for u in unseen if channel in u.observed]
        score = score_channel(
            channel,
            np.concatenate([u.replicas[channel] for u in parts], axis=1),
            np.concatenate([u.observed[channel] for u in parts]),
            np.concatenate([u.length_s for u in parts]),
        )
        if score is not None:
            scores.append(score)
    return tuple(scores)
