"""One bench: simulated, fitted as a user's would be, and scored against its truth."""

from __future__ import annotations

import os
import platform
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import motorfit
from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import read_runs
from motorfit.bench.reduce import reduce_runs
from motorfit.calibration.judge import compared
from motorfit.calibration.scenarios import SCENARIOS
from motorfit.errors import MotorfitError
from motorfit.inference.positions import posterior_positions
from motorfit.synthetic.simulate import simulate_campaign

MAIN = (
    "kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia", "thrust_coefficient",
    "torque_coefficient",
)  # fmt: skip
"""Parameters told for every scenario."""

RANKED = (
    *MAIN, "kt_kv_ratio", "prop_inertia", "braking_share", "controller_resistance", "controller_idle_current",
    "duty_slope", "duty_curvature", "current_limit", "gain_current", "thrust_reynolds_exponent",
    "torque_reynolds_exponent", "winding_heat_capacity", "body_heat_capacity",
    "winding_time_constant", "magnet_temperature_coefficient", "saturation_current", "duty_cubic",
    "gain_voltage", "gain_thrust", "gain_torque", "offset_thrust", "offset_torque",
)  # fmt: skip
"""Parameters told as well where truths follow the prior."""


@dataclass(frozen=True)
class Job:
    """A bench to do."""

    scenario: str
    seed: int
    draws: int
    method: Literal["auto", "fast", "ensemble"] = "fast"
    # the reference ensembles would take minutes a bench; what is not sound is counted instead


def do(job: Job) -> dict[str, Any]:
    """The record of one bench; a fit that is refused is a record too, with the message as `failed`."""
    kind = SCENARIOS[job.scenario]
    out: dict[str, Any] = {
        "scenario": job.scenario, "seed": job.seed, "draws": job.draws, "version": motorfit.__version__,
        "date": datetime.now(UTC).date().isoformat(), "machine": machine(),
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        truth = simulate_campaign(Path(folder), seed=job.seed, options=kind.options)
        begin = time.perf_counter()
        try:
            campaign = load_campaign(truth.campaign)
            runs = reduce_runs(read_runs(campaign))
            found = posterior_positions(campaign, runs, method=job.method, seed=job.seed, draws=job.draws)
        except MotorfitError as error:
            return out | {"failed": str(error).replace(folder, "")}
    out |= {
        "wall_s": round(time.perf_counter() - begin, 2),
        "path": found.method,
        "sound": bool(found.sound),
    }
    return out | compared(found, truth, RANKED if kind.ranks else MAIN, job.seed)


def machine() -> str:
    """The machine in a few words."""
    python = f"Python {platform.python_version()}"
    return f"{os.cpu_count()} CPUs, {platform.machine()}, {platform.system()}, {python}"
