"""How far predictions are off, and how often their bands hold the truth: freshly drawn benches of two motors.

Usage: python -m benchmarks.prediction_calibration [--benches N] [--kind nominal|rich]... [--seed N]
                                                   [--draws N] [--records FILE] [--page]

Each bench draws motors, two propellers, sensors and the day anew. The first motor meets both propellers, the
second only the first, so that the second propeller is predicted on a motor that it was never tested on.
Voltages, throttles, packs and masses of what is asked are drawn too. Truth is the simulator's
(`benchmarks.prediction_truth`). With --records every bench is kept in a file, a JSON object a line, and a
bench that is there is not made again.
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import note, read
from benchmarks.prediction_table import page, table
from benchmarks.prediction_truth import TrueMachine, TruePack, heat, hover, shaft, steady, step
from motorfit.answers.bands import Band
from motorfit.answers.hover import hover as hover_answer
from motorfit.answers.predict import predict
from motorfit.answers.shaft import torque_curve
from motorfit.answers.step import step as step_answer
from motorfit.answers.supply import PackChoice
from motorfit.archive.loaded import LoadedFit
from motorfit.archive.store import load_fit, save_fit
from motorfit.errors import MotorfitError
from motorfit.inference.fit import fit_campaign
from motorfit.physics.pack import CAPACITY_SPREAD, OPEN_CIRCUIT_SPREAD, RESISTANCE_SPREAD
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import draw_scenario, write_scenario
from motorfit.synthetic.truth import Truth

DOCS = Path(__file__).resolve().parent.parent / "docs"
THROTTLES = (0.2, 0.4, 0.6, 0.8, 1.0)
CURVES = (
    "speed_rpm", "thrust_n", "torque_nm", "current_a", "motor_current_a", "electrical_power_w",
    "motor_efficiency", "thrust_per_watt_g",
)  # fmt: skip
INTERVALS = (0.9, 0.5)
KINDS = {
    "nominal": BenchOptions(motors=2, propellers=2),
    "rich": BenchOptions.rich(motors=2, propellers=2),
}
LIMIT_C = 100.0

Row = dict[str, list[float]]
"""By figure: truth, low and high of 90 %, median, low and high of 50 %."""


def of_points(answers: list[Mapping[str, Band]], true: Mapping[str, float], k: int = 0) -> Row:
    """Return what was said of each figure beside what is true of it, at point ``k`` of the bands."""
    out: Row = {}
    for name, value in true.items():
        if name in answers[0]:
            wide, narrow = (answer[name] for answer in answers)
            numbers = (value, wide.low[k], wide.high[k], wide.median[k], narrow.low[k], narrow.high[k])
            out[name] = [float(f"{float(v):.7g}") for v in numbers]
    return out


def curves(fit: LoadedFit, truth: Truth, propeller: str, volts: float) -> dict[str, Row]:
    """Rows by throttle: curves over throttle at a voltage."""
    answers = [
        predict(fit, propeller=propeller, voltage_v=volts, throttle=THROTTLES, interval=p).curves
        for p in INTERVALS
    ]
    machine = TrueMachine(truth, fit.motor, truth.propellers[propeller])
    return {
        f"{x:g}": of_points(answers, {n: v for n, v in steady(machine, x, volts).items() if n in CURVES}, k)
        for k, x in enumerate(THROTTLES)
    }


def true_pack(rng: np.random.Generator, choice: PackChoice) -> TruePack:
    """Draw a pack as far off what is usual as is believed."""
    ohm = choice.pack().resistance(choice.temperature_c) - choice.lead_resistance_ohm
    if choice.cell_resistance_ohm is None:
        ohm *= math.exp(RESISTANCE_SPREAD * rng.standard_normal())
    charge = 3.6 * choice.capacity_mah * (1.0 + CAPACITY_SPREAD * rng.standard_normal())
    shift = choice.cells * OPEN_CIRCUIT_SPREAD * rng.standard_normal()
    return TruePack(choice.cells, charge, float(ohm) + choice.lead_resistance_ohm, shift)


def flown(fit: LoadedFit, truth: Truth, propeller: str, rng: np.random.Generator, *, measured: bool) -> Row:
    """Hover of four motors whose weight takes 25 to 55 % of the thrust at 20 V; the pack measured or not."""
    machine = TrueMachine(truth, fit.motor, truth.propellers[propeller])
    thrust = float(rng.uniform(0.25, 0.55)) * steady(machine, 1.0, 20.0)["thrust_n"]
    mass_g = round(4.0 * thrust / 9.80665 * 1000.0)
    capacity = float(rng.choice([1300.0, 2200.0, 4000.0]))
    ohm = round(float(rng.uniform(0.002, 0.008)), 4) if measured else None
    choice = PackChoice(6, capacity, 1.0, ohm, capacity_sd_mah=0.0 if measured else None)
    pack = true_pack(rng, choice)
    if measured:
        pack = TruePack(pack.cells, 3.6 * capacity, pack.resistance_ohm, pack.shift_v)
    ask: dict[str, Any] = {"mass_g": mass_g, "motors": 4, "winding_limit_c": LIMIT_C}
    answers = [
        hover_answer(fit, propeller=propeller, pack=choice, interval=p, **ask).points for p in INTERVALS
    ]
    true = hover(machine, pack, mass_g=mass_g, motors=4, charge=1.0, reserve=0.2)
    if true and "winding_heat_capacity" in truth.motors[fit.motor].parameters:
        hot = TrueMachine(truth, fit.motor, truth.propellers[propeller], heated=True)
        true |= heat(hot, mass_g / 1000.0 * 9.80665 / 4.0, LIMIT_C)
    return of_points(answers, true)


def bench(kind: str, seed: int, draws: int) -> dict[str, Any]:
    """Simulate, fit and ask one bench; rows by condition and throttle (empty where there is none)."""
    rng = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        truth = write_scenario(place / "bench", draw_scenario(rng, KINDS[kind]), rng, seed)
        campaign, logs = read(truth.campaign)
        save_fit(place / "library", fit_campaign(campaign, logs, method="fast", seed=seed, draws=draws))
        first, second = (load_fit(place / "library", motor) for motor in truth.motors)
        # fits read their draws when they are first asked for: not after the folder is gone
        return {"kind": kind, "seed": seed} | asked(first, second, truth, rng)


def asked(first: LoadedFit, second: LoadedFit, truth: Truth, rng: np.random.Generator) -> dict[str, Any]:
    """Ask the two motors' fits, and set the answers beside the truth."""
    a, b = (screw.id for screw in truth.propellers.values() if screw.tested)
    volts = [round(float(rng.uniform(11.0, 20.0)), 1) for _ in range(5)]
    found: dict[str, dict[str, Row]] = {
        "untested voltage": curves(first, truth, a, volts[0]),
        "propeller of another motor": curves(second, truth, b, volts[1]),
    }
    low, high = round(float(rng.uniform(0.1, 0.35)), 2), round(float(rng.uniform(0.5, 0.9)), 2)
    steps = ("step", first, a, volts[2]), ("step, propeller of another motor", second, b, volts[3])
    for name, fit, screw, at in steps:
        said = [
            step_answer(
                fit, propeller=screw, voltage_v=at, from_throttle=low, to_throttle=high, interval=p
            ).points
            for p in INTERVALS
        ]
        machine = TrueMachine(truth, fit.motor, truth.propellers[screw])
        found[name] = {"": of_points(said, step(machine, low, high, at))}
    shafts = [torque_curve(first, voltage_v=volts[4], interval=p).points for p in INTERVALS]
    bare = TrueMachine(truth, first.motor, None)
    found["bare shaft"] = {"": of_points(list(shafts), shaft(bare, volts[4]))}
    found["hover, pack measured"] = {"": flown(first, truth, a, rng, measured=True)}
    found["hover, pack by its label"] = {"": flown(first, truth, a, rng, measured=False)}
    return {"volts": volts, "throttles": [low, high], "found": found}


def kept(file: Path | None) -> list[dict[str, Any]]:
    """Records of a file; none where there is none."""
    if file is None or not file.exists():
        return []
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--benches", type=int, default=60, help="of each kind")
    parser.add_argument("--kind", action="append", choices=sorted(KINDS), help="both unless told otherwise")
    parser.add_argument("--seed", type=int, default=52000, help="of the first bench; the others follow")
    parser.add_argument("--draws", type=int, default=2000)
    parser.add_argument("--records", type=Path, metavar="FILE")
    parser.add_argument("--page", action="store_true", help="write docs/predictions-counted.md")
    options = parser.parse_args()
    if options.benches < 1:
        parser.error("--benches must be at least 1")
    records = kept(options.records)
    done = {(record["kind"], record["seed"]) for record in records}
    kinds = options.kind or sorted(KINDS)
    for kind in kinds:
        for seed in range(options.seed, options.seed + options.benches):
            if (kind, seed) in done:
                continue
            note(f"{kind} {seed}")
            try:
                record = bench(kind, seed, options.draws)
            except MotorfitError as error:
                record = {"kind": kind, "seed": seed, "failed": str(error)}
            records.append(record)
            if options.records is not None:
                with options.records.open("a", encoding="utf-8") as stream:
                    stream.write(json.dumps(record) + "\n")
    for kind in kinds:
        print(f"\n{kind}\n" + "\n".join(table([record for record in records if record["kind"] == kind])))
    if options.page:
        (DOCS / "predictions-counted.md").write_text(page(records), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
