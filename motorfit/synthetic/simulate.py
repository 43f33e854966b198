"""A whole simulated campaign: draw the truth, run the bench, write the files."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motorfit.physics.air import air_density
from motorfit.synthetic import integrate as bench
from motorfit.synthetic.curves import true_curve
from motorfit.synthetic.draw import draw_air, draw_motor, draw_propeller
from motorfit.synthetic.files import campaign_text, log_text, write_whole
from motorfit.synthetic.options import BenchOptions, SyntheticError
from motorfit.synthetic.plan import (
    TABLE_AVERAGE_S,
    TABLE_DWELL_S,
    TABLE_LEVELS,
    PlannedRun,
    plan_campaign,
    throttle_profile,
)
from motorfit.synthetic.sensors import read_channels
from motorfit.synthetic.stand import Stand, draw_stand
from motorfit.synthetic.truth import TrueAir, TrueCurve, TrueFlywheel, TrueMotor, TruePropeller, Truth

SHAPES = ((7.0, 3.5, 3), (6.0, 4.0, 3), (8.0, 4.5, 2), (7.0, 4.0, 2), (6.5, 3.5, 3), (5.5, 4.5, 3))
"""Geometry of the tested propellers: diameter and pitch [inch], blades."""

SENSING_HZ, LATE_SENSING_HZ = 50.0, 5000.0
"""Rates [Hz] at which sensors are simulated at least, however rarely they are logged; the other one where a
sensor is slow or late, for what passes between two samples then shows in the next."""

UNTESTED_SHAPE = (7.0, 4.5, 2)
"""Geometry of the propeller that never comes on the stand."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """A bench with all its parts, ready to run."""

    title: str
    bench: str
    air: TrueAir
    stand: Stand
    motors: tuple[TrueMotor, ...]
    propellers: tuple[TruePropeller, ...]
    flywheels: tuple[TrueFlywheel, ...]
    runs: tuple[PlannedRun, ...]
    options: BenchOptions


def draw_flywheel(rng: np.random.Generator, id: str = "disc") -> TrueFlywheel:
    """A turned disc whose inertia is known to a little under 1 %."""
    return TrueFlywheel(id, 2.0e-4, 1.5e-6, float(rng.normal(2.0e-4, 1.5e-6)))


def draw_scenario(
    rng: np.random.Generator, options: BenchOptions, title: str = "Simulated bench"
) -> Scenario:
    """A bench of ordinary motors and propellers, one of them never tested."""
    air = draw_air(rng)
    stand = draw_stand(rng, options)
    motors = tuple(draw_motor(rng, f"motor-{k + 1}", options) for k in range(options.motors))
    propellers = [
        draw_propeller(rng, f"prop-{chr(97 + k)}", *shape, True, options)
        for k, shape in enumerate(SHAPES[: options.propellers])
    ]
    propellers.append(draw_propeller(rng, "prop-untested", *UNTESTED_SHAPE, False, options))
    wheel = draw_flywheel(rng)
    tested = [p.id for p in propellers if p.tested]
    runs = tuple(plan_campaign([m.id for m in motors], tested, wheel.id, options))
    return Scenario(title, "simulated stand", air, stand, motors, tuple(propellers), (wheel,), runs, options)


def simulate_campaign(folder: Path, *, seed: int, options: BenchOptions | None = None) -> Truth:
    """Make a folder with campaign.toml, logs/ and truth.json.

    Parameters
    ----------
    folder : made when absent; what it holds under these names is replaced
    seed : of the generator; the same seed, options and version give the same bytes
    options : of the bench; None for the nominal one

    Raises
    ------
    SyntheticError : when the folder cannot be written
    """
    chosen = BenchOptions() if options is None else options
    rng = np.random.default_rng(seed)
    return write_scenario(folder, draw_scenario(rng, chosen), rng, seed)


def write_scenario(folder: Path, scenario: Scenario, rng: np.random.Generator, seed: int) -> Truth:
    """Run a scenario and write its files; the campaign file last, so that its presence means all is there.

    Propellers that are not tested stay out of the campaign file: nobody at the bench knows of them.

    Raises
    ------
    SyntheticError : when the folder cannot be written
    """
    density = float(
        air_density(scenario.air.temperature_c, scenario.air.pressure_hpa, scenario.air.humidity_pct)
    )
    texts = [(run.id, run_log(rng.spawn(1)[0], run, scenario, density)) for run in scenario.runs]
    truth = Truth(
        campaign=folder / "campaign.toml",
        seed=seed,
        air=scenario.air,
        density=density,
        stand=scenario.stand.parameters,
        motors={m.id: m for m in scenario.motors},
        propellers={p.id: p for p in scenario.propellers},
        flywheels={f.id: f for f in scenario.flywheels},
        curves=tuple(untested_curves(scenario, density)),
        options=scenario.options.to_json(),
    )
    campaign = campaign_text(
        scenario.title,
        scenario.bench,
        scenario.air,
        scenario.stand,
        scenario.motors,
        [p for p in scenario.propellers if p.tested],
        scenario.flywheels,
        scenario.runs,
    )
    try:
        logs = folder / "logs"
        logs.mkdir(parents=True, exist_ok=True)
        for name, text in texts:
            write_whole(logs / f"{name}.csv", text)
        write_whole(folder / "truth.json", json.dumps(truth.to_json(), indent=1) + "\n")
        write_whole(truth.campaign, campaign)
    except OSError as error:
        raise SyntheticError(
            f"{folder} cannot be written ({error.strerror}); a folder with write access and free space is "
            "needed. Choose another folder."
        ) from error
    return truth


def run_log(rng: np.random.Generator, run: PlannedRun, scenario: Scenario, density: float) -> str:
    """Text of one run's log; ``density`` of the air [kg/m³]."""
    options = scenario.options
    # sensors have time constants of their own: a slow logger picks samples of what they do in between
    late = options.load_cell_lag_s > 0.0 or options.late_by_s > 0.0
    finer = math.ceil((LATE_SENSING_HZ if late else SENSING_HZ) / options.sample_rate_hz)
    rate = finer * options.sample_rate_hz
    interval = 1.0 / rate
    warmth = float(rng.standard_t(4.0)) * options.warmth_k if options.warmth_k > 0.0 else 0.0
    throttle = np.repeat(throttle_profile(run.kind, options.sample_rate_hz, options.tare_s), finer)
    signals = run_signals(run, scenario, density, throttle, interval, warmth)
    screw = next((p for p in scenario.propellers if p.id == run.propeller), None)
    channels = tuple(c for c in options.channels if c != "thrust" or screw is not None)
    readings = read_channels(
        rng, signals, interval, channels, scenario.stand, options, screw.blades if screw is not None else 0
    )
    if run.kind != "table":
        time_s = np.arange(throttle.size, dtype=np.float64)[::finer] * interval
        return log_text(time_s, throttle[::finer], {c: r[::finer] for c, r in readings.items()})
    per_row = throttle.size // len(TABLE_LEVELS)
    tail = round(TABLE_AVERAGE_S / TABLE_DWELL_S * per_row)
    means = {c: r.reshape(len(TABLE_LEVELS), per_row)[:, -tail:].mean(axis=1) for c, r in readings.items()}
    return log_text(None, np.asarray(TABLE_LEVELS), means)


def run_signals(
    run: PlannedRun, scenario: Scenario, density: float, throttle: NDArray[np.float64], interval: float,
    warmth_k: float = 0.0,
) -> NDArray[np.float64]:  # fmt: skip
    """What is true at every sample of a run, (N_SIGNALS, samples); see `integrate` for the rows and units.

    ``warmth_k`` of the motor above the air at the start [K].
    """
    motor = next(m for m in scenario.motors if m.id == run.motor)
    screw = next((p for p in scenario.propellers if p.id == run.propeller), None)
    wheel = next((f for f in scenario.flywheels if f.id == run.flywheel), None)
    stand = scenario.stand
    nominal = stand.current_limit_a if run.current_limit_a is None else run.current_limit_a
    inertia = wheel.inertia_kg_m2 if wheel is not None else 0.0
    p = bench.run_parameters(
        motor.parameters,
        stand.parameters,
        propeller=None if screw is None else screw.parameters,
        diameter=0.0 if screw is None else 0.0254 * screw.diameter_in,
        density=density,
        load_inertia=inertia if screw is None else screw.parameters["prop_inertia"],
        source_resistance=stand.source_resistance,
        current_limit=nominal * stand.limit_factor,
        air_c=scenario.air.temperature_c,
        excess_loss=scenario.options.excess_loss,
        magnet_share=scenario.options.magnet_share,
        fold_back_a=scenario.options.fold_back_a,
        warmth_k=warmth_k,
    )
    out = np.empty((bench.N_SIGNALS, throttle.size))
    bench.integrate(p, throttle, run.supply_v, interval, math.ceil(interval / bench.LONGEST_STEP_S), out)
    return out


def untested_curves(scenario: Scenario, density: float) -> Sequence[TrueCurve]:
    """For every motor: its propeller at another voltage, one it never met, and one that nobody tested."""
    met = {(run.motor, run.propeller) for run in scenario.runs}
    curves: list[TrueCurve] = []
    for motor in scenario.motors:
        conditions: dict[str, tuple[TruePropeller, float]] = {}
        for screw in scenario.propellers:
            if not screw.tested:
                conditions.setdefault("propeller-geometry-only", (screw, 22.2))
            elif (motor.id, screw.id) in met:
                conditions.setdefault("voltage", (screw, 14.8))
            elif any(propeller == screw.id for _, propeller in met):
                conditions.setdefault("propeller-tested-elsewhere", (screw, 22.2))
        for condition, (screw, voltage) in conditions.items():
            curves.append(
                true_curve(
                    motor, screw, voltage, scenario.stand, density, condition,
                    excess_loss=scenario.options.excess_loss,
                )
            )  # fmt: skip
    return curves
