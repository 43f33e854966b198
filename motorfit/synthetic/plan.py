"""Which runs are made, and what the throttle does in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorfit.synthetic.options import KINDS, BenchOptions

SUPPLY_V = {"no-load": 10.0, "spin-up": 16.0, "coast-down": 12.0}
"""Open-circuit voltage of the supply [V] by kind; a pack's 23.6 V for the rest."""

LIMIT_A = {"no-load": 30.0, "spin-up": 45.0}
"""Nominal limit of motor current [A] a run sets for itself."""

TABLE_LEVELS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
TABLE_DWELL_S, TABLE_AVERAGE_S = 0.9, 0.3
"""A row of a table: the throttle is held, and the end of it averaged."""


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """One run to make.

    ``supply_v`` [V] is open-circuit; ``current_limit_a`` [A] is nominal, None for the stand's.
    """

    id: str
    motor: str
    kind: str
    propeller: str | None
    flywheel: str | None
    supply_v: float
    current_limit_a: float | None


def plan_run(
    id: str, motor: str, kind: str, *, propeller: str | None = None, flywheel: str | None = None
) -> PlannedRun:
    """A run with the usual supply and limit of its kind."""
    return PlannedRun(id, motor, kind, propeller, flywheel, SUPPLY_V.get(kind, 23.6), LIMIT_A.get(kind))


def plan_campaign(
    motors: list[str], propellers: list[str], flywheel: str, options: BenchOptions
) -> list[PlannedRun]:
    """Every kind asked for, with every motor; the first ramps every propeller, the others only one."""
    runs: list[PlannedRun] = []
    for k, motor in enumerate(motors):
        for kind in (kind for kind in KINDS if kind in options.runs):
            if kind in ("no-load", "spin-up", "coast-down"):
                wheel = None if kind == "no-load" else flywheel
                runs.append(plan_run(f"{motor}-{kind}", motor, kind, flywheel=wheel))
                continue
            chosen = propellers if kind in ("ramp", "table") and k == 0 else propellers[:1]
            runs += [plan_run(f"{motor}-{kind}-{p}", motor, kind, propeller=p) for p in chosen]
    return runs


def throttle_profile(kind: str, rate_hz: float, tare_s: float) -> NDArray[np.float64]:
    """Throttle [1] of every sample of a run, (samples,); it starts with a rest of ``tare_s`` [s] at zero."""

    def hold(level: float, seconds: float) -> NDArray[np.float64]:
        return np.full(round(seconds * rate_hz), level)

    def sweep(start: float, end: float, seconds: float) -> NDArray[np.float64]:
        # a ramp is commanded in steps of a thousandth, as controllers take it
        return np.round(np.linspace(start, end, round(seconds * rate_hz), endpoint=False), 3)

    parts: list[NDArray[np.float64]]
    if kind == "no-load":
        parts = [hold(1.0, 4.5)]
    elif kind == "spin-up":
        parts = [hold(1.0, 3.0)]
    elif kind == "ramp":
        parts = [sweep(0.08, 1.0, 9.0), hold(1.0, 0.7), sweep(1.0, 0.3, 1.8)]
    elif kind == "steps":
        parts = [hold(level, 0.65) for level in (0.12, 0.5, 0.2, 0.65, 0.3, 0.55, 0.12, 0.7, 0.4)]
    elif kind == "hold":
        parts = [hold(level, 2.0) for level in (0.3, 0.5, 0.7, 0.85)]
    elif kind == "coast-down":
        parts = [hold(0.6, 3.0), hold(0.0, 8.0)]
    else:
        return np.concatenate([hold(level, TABLE_DWELL_S) for level in TABLE_LEVELS])
    return np.concatenate([hold(0.0, tare_s), *parts])
