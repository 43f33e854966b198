"""Which runs of a campaign can teach which parameter, from what was logged; no fit is made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from motorfit.bench.campaign import Campaign
from motorfit.bench.logs import RunLog

Strength = Literal["well", "weakly", "not"]


@dataclass(frozen=True, slots=True)
class Teaching:
    """What the runs teach of one parameter.

    Attributes
    ----------
    parameter: name in `motorfit.quantities.PARAMETERS`.
    of: id of the motor or propeller.
    strength: "well", "weakly" (only together with other doubts) or "not".
    runs: ids of the runs that teach it.
    advice: the run that would teach it (better); empty where it is taught well.
    """

    parameter: str
    of: str
    strength: Strength
    runs: tuple[str, ...]
    advice: str


@dataclass(frozen=True, slots=True)
class _Lesson:
    parameter: str
    well: Callable[[Campaign, RunLog], bool]
    weakly: Callable[[Campaign, RunLog], bool]
    advice: str


def _has(log: RunLog, *channels: str) -> bool:
    return all(c in log.channels for c in channels)


def _full_range(log: RunLog) -> bool:
    """Whether duty is known or can be learned: throttle is logged, or full by the kind of run."""
    return "throttle" in log.channels or log.run.kind in ("no-load", "spin-up")


def _transient(log: RunLog) -> bool:
    """Whether speed changes by half its range, sampled every 20 ms or faster."""
    if log.time_s is None or "speed" not in log.channels:
        return False
    speed = log.channels["speed"]
    known = speed[np.isfinite(speed)]
    fast = float(np.median(np.diff(log.time_s))) <= 0.02
    return fast and len(known) > 1 and float(known.min()) < 0.5 * float(known.max())


def _loaded(log: RunLog) -> bool:
    return log.run.propeller is not None or log.run.flywheel is not None


def _light(campaign: Campaign, log: RunLog) -> bool:
    """Whether the rotor's own inertia shows: no flywheel on the shaft."""
    return log.run.flywheel is None


def _drag_by_coast(campaign: Campaign, log: RunLog) -> bool:
    return log.run.kind == "coast-down" and _has(log, "speed") and log.run.propeller is None


_MOTOR = (
    _Lesson(
        "kv",
        lambda c, g: _has(g, "speed", "voltage") and _full_range(g) and g.run.kind != "coast-down",
        lambda c, g: _has(g, "speed", "voltage") and g.run.kind != "coast-down",
        "a no-load run with voltage and speed logged, at full throttle",
    ),
    _Lesson(
        "winding_resistance",
        lambda c, g: (
            _has(g, "speed", "voltage", "current")
            and _full_range(g)
            and _loaded(g)
            and g.run.kind != "coast-down"
        ),
        lambda c, g: _has(g, "speed", "voltage", "current") and g.run.kind == "no-load" and _transient(g),
        "a loaded ramp or spin-up with voltage, current and speed logged, or a measured resistance",
    ),
    _Lesson(
        "kt",
        lambda c, g: _has(g, "current", "torque", "voltage") and _full_range(g) and _loaded(g),
        lambda c, g: (
            _has(g, "current", "torque")
            or (g.run.flywheel is not None and g.run.kind != "coast-down" and _has(g, "speed", "current"))
        ),
        "a ramp with torque logged, or a flywheel's spin-up together with its coast-down or a no-load run",
    ),
    _Lesson(
        "no_load_current",
        lambda c, g: g.run.kind == "no-load" and _has(g, "speed", "current"),
        lambda c, g: _drag_by_coast(c, g),
        "a no-load run with current logged",
    ),
    _Lesson(
        "rotor_inertia",
        lambda c, g: (
            _transient(g)
            and _light(c, g)
            and g.run.propeller is None
            and (_has(g, "current") or _has(g, "torque"))
        ),
        lambda c, g: _transient(g) and _light(c, g) and _has(g, "current"),
        "a no-load run with its start logged at 500 samples a second, or throttle steps",
    ),
)
_PROPELLER = (
    _Lesson(
        "thrust_coefficient",
        lambda c, g: _has(g, "speed", "thrust"),
        lambda c, g: False,
        "a ramp or table with this propeller, with thrust and speed logged",
    ),
    _Lesson(
        "torque_coefficient",
        lambda c, g: _has(g, "speed", "torque"),
        lambda c, g: _has(g, "speed", "current"),
        "a ramp or table with this propeller, with torque and speed logged",
    ),
    _Lesson(
        "prop_inertia",
        lambda c, g: g.run.kind == "steps" and _transient(g),
        lambda c, g: _transient(g),
        "a steps run with this propeller, logged at 200 samples a second or more, or a measured inertia",
    ),
)


def _taught(campaign: Campaign, lesson: _Lesson, of: str, logs: Sequence[RunLog]) -> Teaching:
    well = tuple(g.run.id for g in logs if lesson.well(campaign, g))
    if well:
        return Teaching(lesson.parameter, of, "well", well, "")
    weakly = tuple(g.run.id for g in logs if lesson.weakly(campaign, g))
    return Teaching(lesson.parameter, of, "weakly" if weakly else "not", weakly, lesson.advice)


def teachings_of(campaign: Campaign, logs: Sequence[RunLog]) -> tuple[Teaching, ...]:
    """What the runs teach of every motor and propeller; a direct measurement counts as well taught."""
    made: list[Teaching] = []
    for motor in campaign.motors:
        own = [g for g in logs if g.run.motor == motor.id]
        made += [_taught(campaign, lesson, motor.id, own) for lesson in _MOTOR]
    for propeller in campaign.propellers:
        own = [g for g in logs if g.run.propeller == propeller.id]
        made += [_taught(campaign, lesson, propeller.id, own) for lesson in _PROPELLER]
    measured = {(m.quantity, m.propeller or m.motor) for m in campaign.measurements}
    measured |= {("prop_inertia", p.id) for p in campaign.propellers if p.inertia_kg_m2 is not None}
    return tuple(
        Teaching(t.parameter, t.of, "well", t.runs, "") if (t.parameter, t.of) in measured else t
        for t in made
    )
