"""The demonstration: a day in a small workshop by the sea that builds drones to survey cliffs.

Three motors are candidates for the next aircraft; four propellers are at hand, and one stand in the harbour
shed. Nothing of it exists. The bench has what a simple model lacks (heating, saturation, a curved duty map,
Reynolds exponents) and what sensors do wrong (gains, slow load cells, late channels, drift, vibration, steps
of speed).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from motorfit.synthetic.draw import draw_motor, draw_propeller
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.plan import plan_run
from motorfit.synthetic.simulate import Scenario, draw_flywheel, write_scenario
from motorfit.synthetic.stand import draw_stand
from motorfit.synthetic.truth import TrueAir

MOTORS = (("dunlin-2806", 43.5, 1300.0), ("plover-2807", 48.0, 1150.0), ("curlew-2810", 60.5, 950.0))
"""Id, mass [g] and label [rpm/V]."""

PROPELLERS = (
    ("p70x35x3", 7.0, 3.5, 3),
    ("p60x40x3", 6.0, 4.0, 3),
    ("p80x45x2", 8.0, 4.5, 2),
    ("p75x40x2", 7.5, 4.0, 2),
)
"""Id, diameter and pitch [inch], blades."""

SECOND_PROPELLER = {"dunlin-2806": "p60x40x3", "plover-2807": "p75x40x2", "curlew-2810": "p80x45x2"}
"""Every motor meets the first propeller, and one of its own."""

OPTIONS = BenchOptions.rich(
    motors=3,
    propellers=4,
    sample_rate_hz=400.0,
    load_cell_lag_s=0.015,
    late_by_s=0.006,
    drift_n_per_min=0.04,
    tones=0.01,
    speed_quantum_rpm=5.0,
)


def demo_scenario(rng: np.random.Generator) -> Scenario:
    """The workshop's bench; motors and propellers differ a little from seed to seed, as units do."""
    motors = tuple(draw_motor(rng, id, OPTIONS, mass, label) for id, mass, label in MOTORS)
    propellers = tuple(
        draw_propeller(rng, id, d, p, blades, True, OPTIONS) for id, d, p, blades in PROPELLERS
    )
    wheel = draw_flywheel(rng, "brass-disc")
    first = propellers[0].id
    runs = []
    for motor in motors:
        id, short = motor.id, motor.id.split("-")[0]
        own = SECOND_PROPELLER[id]
        runs += [
            plan_run(f"{short}-no-load", id, "no-load"),
            plan_run(f"{short}-spin-up", id, "spin-up", flywheel=wheel.id),
            plan_run(f"{short}-ramp-{first}", id, "ramp", propeller=first),
            plan_run(f"{short}-steps-{first}", id, "steps", propeller=first),
            plan_run(f"{short}-ramp-{own}", id, "ramp", propeller=own),
        ]
    runs += [
        plan_run("dunlin-coast-down", "dunlin-2806", "coast-down", flywheel=wheel.id),
        plan_run("curlew-hold", "curlew-2810", "hold", propeller=SECOND_PROPELLER["curlew-2810"]),
    ]
    return Scenario(
        title="Cliff survey motors, a day in the harbour shed",
        bench="harbour shed stand",
        air=TrueAir(temperature_c=16.5, pressure_hpa=1011.0, humidity_pct=72.0),
        stand=draw_stand(rng, OPTIONS, current_limit_a=60.0),
        motors=motors,
        propellers=propellers,
        flywheels=(wheel,),
        runs=tuple(runs),
        options=OPTIONS,
    )


def write_demo(folder: Path, seed: int) -> Path:
    """Make the demonstration's campaign in a folder; returns the path of the campaign file.

    The folder gets campaign.toml, logs/ and truth.json (what is true, for comparison).

    Raises
    ------
    SyntheticError : when the folder cannot be written
    """
    rng = np.random.default_rng(seed)
    return write_scenario(folder, demo_scenario(rng), rng, seed).campaign
