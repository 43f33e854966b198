"""Whether answers for a model hold what they promise: simulated units, mountings, and claimed tables.

Usage: python -m benchmarks.model_calibration [--cases N] [--kind units|mountings|days] [--seed N]
                                              [--draws N] [--json OUT]
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine, note, read
from benchmarks.compare_calibration import VOLTS, as_true, scattered
from motorfit.answers.claims import GAIN_SD, ROW_SD, ClaimedTable
from motorfit.answers.companions import companions
from motorfit.answers.compare import compare
from motorfit.answers.facts import campaign_air
from motorfit.answers.figures import Conditions, figures, machine_for
from motorfit.answers.hierarchy import model_of
from motorfit.answers.links import linked
from motorfit.answers.metrics import chosen_metrics
from motorfit.answers.pairing import side_by_side
from motorfit.answers.question import RPM_PER_RAD_S
from motorfit.answers.spreads import PROPELLER_SPREAD, REMOUNT_SCATTER, UNIT_SPREAD
from motorfit.archive.loaded import LoadedFit
from motorfit.archive.store import load_fit, save_fit
from motorfit.errors import MotorfitError
from motorfit.inference.fit import fit_campaign
from motorfit.physics.steady import operating_points
from motorfit.synthetic.draw import draw_air, draw_motor
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.plan import plan_campaign
from motorfit.synthetic.simulate import Scenario, draw_scenario, write_scenario
from motorfit.synthetic.stand import draw_stand
from motorfit.synthetic.truth import TrueMotor, Truth

METRICS = (
    "kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia", "max_thrust_n", "max_current_a",
    "peak_torque_nm", "peak_efficiency", "rise_time_s", "hover_power_w",
)  # fmt: skip
COUNTED = ("mean of several", "another of several", "mean of one", "another of one")


@dataclass(frozen=True)
class Case:
    """Fits of a model's units with their units' names, what is true of its mean and of another unit."""

    fits: tuple[LoadedFit, ...]
    companions: tuple[LoadedFit, ...]
    mean: Truth
    another: Truth
    copy: Mapping[str, float]


def scales(rng: np.random.Generator, of: Mapping[str, float]) -> dict[str, float]:
    """Standard deviations of a model, each drawn from its half-normal belief."""
    return {name: scale * abs(float(rng.standard_normal())) for name, scale in of.items()}


def fitted(folder: Path, scenario: Scenario, rng: np.random.Generator, seed: int, draws: int) -> Truth:
    """Run a scenario whose motors' ids name their units, ``a`` or ``a-again``; fit and store it."""
    place = folder / scenario.title.replace(" ", "-")
    truth = write_scenario(place, scenario, rng, seed)
    text = truth.campaign.read_text(encoding="utf-8")
    for motor in scenario.motors:
        unit = motor.id.partition("-")[0]
        head = f'id = "{motor.id}"\nmass_g'
        text = text.replace(head, f'id = "{motor.id}"\nmodel = "model"\nunit = "{unit}"\nmass_g')
    truth.campaign.write_text(text, encoding="utf-8")
    campaign, logs = read(truth.campaign)
    save_fit(folder / "library", fit_campaign(campaign, logs, method="fast", seed=seed, draws=draws))
    return truth


def case(folder: Path, kind: str, seed: int, draws: int) -> Case:
    """Simulate and fit units of one model: on one bench, some mounted twice, or over two days."""
    rng = np.random.default_rng(seed)
    options = BenchOptions.rich(propellers=1) if seed % 2 else BenchOptions(propellers=1)
    scenario = draw_scenario(rng, options, "First day")
    model = draw_motor(rng, "model", options)
    between, again = scales(rng, UNIT_SPREAD), scales(rng, REMOUNT_SCATTER)
    many = {"units": int(rng.integers(3, 6)), "mountings": 3, "days": 3}[kind]
    units = [scattered(model, rng, between, "abcde"[k]) for k in range(many)]
    first, later = units, list[TrueMotor]()
    if kind == "mountings":
        first = [*units, *(replace(unit, id=f"{unit.id}-again") for unit in units[:2])]
    elif kind == "days":
        first, later = units[:2], units[1:]
    screws = [p.id for p in scenario.propellers if p.tested]

    def tested(day: Scenario, mounted: Sequence[TrueMotor]) -> Scenario:
        ready = tuple(scattered(unit, rng, again, unit.id) for unit in mounted)
        runs = tuple(plan_campaign([m.id for m in ready], screws, day.flywheels[0].id, options))
        return replace(day, motors=ready, runs=runs)

    scenario = tested(scenario, first)
    truth = fitted(folder, scenario, rng, seed, draws)
    library = folder / "library"
    fits = [load_fit(library, motor.id) for motor in scenario.motors]
    if later:
        day = replace(scenario, title="Second day", air=draw_air(rng), stand=draw_stand(rng, options))
        fitted(folder, tested(day, later), rng, seed + 1, draws)
        fits += [load_fit(library, motor.id) for motor in later]
    beside = companions(library, fits)
    other = scattered(model, rng, between, fits[0].motor)
    spread = scales(rng, PROPELLER_SPREAD)
    copy = {name: math.exp(scale * float(rng.standard_normal())) for name, scale in spread.items()}
    truths = [replace(truth, motors={fits[0].motor: motor}) for motor in (model, other)]
    return Case(tuple(fits), tuple(beside), truths[0], truths[1], copy)


def claimed_table(found: Case, rng: np.random.Generator, *, doubt: bool) -> ClaimedTable:
    """What a maker would print of another unit with another copy of the propeller: three digits a figure.

    With ``doubt`` the table is also off by as much as is believed of tables; without, only rounded.
    """
    propeller = found.fits[0].propellers[0]
    conditions = Conditions(propeller=propeller, voltage_v=VOLTS, air=campaign_air(found.fits[0]))
    subject = as_true(found.fits[0], found.another)
    built = machine_for(subject, propeller, conditions)
    load = replace(
        built.load,
        thrust_coefficient=np.asarray(built.load.thrust_coefficient) * found.copy["thrust_coefficient"],
        torque_coefficient=np.asarray(built.load.torque_coefficient) * found.copy["torque_coefficient"],
    )
    throttle = np.array([0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
    points = operating_points(throttle, VOLTS, built.drive, load)
    columns = {}
    for name, values in (
        ("speed_rpm", points.speed[0] * RPM_PER_RAD_S),
        ("thrust_n", points.thrust[0]),
        ("current_a", points.bus_current[0]),
    ):
        size = 1.0 if doubt else 0.0
        off = size * (GAIN_SD * rng.standard_normal() + ROW_SD * rng.standard_normal(len(throttle)))
        columns[name] = np.array([float(f"{x:.3g}") for x in values * np.exp(off)])
    return ClaimedTable("claimed", propeller, np.full(len(throttle), VOLTS), throttle, columns)


def judged(found: Case, seed: int) -> dict[str, Any]:
    """By metric and answer: whether 90 % hold the truth, and the half width relative to the truth."""
    propeller = found.fits[0].propellers[0]
    ask: dict[str, Any] = {"propeller": propeller, "voltage_v": VOLTS, "metrics": METRICS, "models": True}
    rng = np.random.default_rng(seed + 1)
    tables = [(doubt, claimed_table(found, rng, doubt=doubt)) for doubt in (True, False)]
    out: dict[str, Any] = {"metrics": {}, "tables": {}}
    for label, fits, beside in (
        ("several", found.fits, found.companions),
        ("one", found.fits[:1], ()),
    ):
        name = "model"
        answer = compare(fits, companions=beside, tables=[(name, table) for _, table in tables], **ask)
        conditions = Conditions(
            propeller=propeller,
            voltage_v=VOLTS,
            air=campaign_air(fits[0]),
            hover_thrust_n=answer.conditions["hover_thrust_n"],
        )
        metrics = chosen_metrics(METRICS, propeller=True, voltage=True)
        true = {}
        for what, truth in (("mean", found.mean), ("another", found.another)):
            subject = as_true(fits[0], truth)
            true[what] = figures(subject, metrics, conditions, machine_for(subject, propeller, conditions))
        mean = model_of(linked(side_by_side([*fits, *beside])).subjects[: len(fits)]).mean
        drawn = figures(mean, metrics, conditions, machine_for(mean, propeller, conditions))
        for one in answer.metrics:
            row = out["metrics"].setdefault(one.metric.name, {})
            means = np.quantile(drawn[one.metric.name], (0.05, 0.5, 0.95))
            median, low, high = one.motors[name]
            for what, (lo, mid, hi) in (("mean", means), ("another", (low, median, high))):
                at = float(true[what][one.metric.name][0])
                row[f"{what} of {label}"] = {
                    "inside": float(lo <= at <= hi),
                    "z": (at - mid) / ((hi - lo) / 3.29),
                    "width": 0.5 * (hi - lo) / at,
                }
        for (doubt, _), check in zip(tables, answer.tables, strict=True):
            for column in check.columns:
                key = f"{column.name}, {'off as believed' if doubt else 'rounded only'}, {label}"
                out["tables"][key] = column.probability_as_far
    return out


def report(found: list[dict[str, Any]]) -> None:
    """Print coverage of means and of another unit, then how claimed tables that are right were taken."""
    print(f"{'figure':20}" + "".join(f"{name:>32}" for name in COUNTED))
    print(f"{'':20}" + f"{'held by 90 %, mean |z|, ± %':>32}" * len(COUNTED))
    total = {name: [0.0, 0] for name in COUNTED}
    for metric in METRICS:
        cells = []
        for name in COUNTED:
            each = [one["metrics"][metric][name] for one in found]
            inside = sum(e["inside"] for e in each)
            total[name][0] += inside
            total[name][1] += len(each)
            size = np.mean([abs(e["z"]) for e in each])
            width = 100.0 * np.median([e["width"] for e in each])
            cells.append(f"{inside:14.0f} of {len(each):<3d}{size:6.2f}{width:6.1f}")
        print(f"{metric:20}" + "".join(cells))
    print(f"{'all together':20}" + "".join(f"{t[0]:14.0f} of {t[1]:<15.0f}" for t in total.values()))
    print("\nclaimed tables that are right: probability of one as far off, below 0.1 and below 0.5")
    for key in found[0]["tables"]:
        values = np.array([one["tables"][key] for one in found if key in one["tables"]])
        print(f"{key:45}{(values < 0.1).sum():4d}{(values < 0.5).sum():4d} of {len(values)}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cases", type=int, default=25)
    parser.add_argument("--kind", choices=("units", "mountings", "days"), default="units")
    parser.add_argument("--seed", type=int, default=900, help="of the first case; the others follow")
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--json", type=Path, metavar="OUT")
    options = parser.parse_args()
    if options.cases < 1:
        parser.error("--cases must be at least 1")
    found: list[dict[str, Any]] = []
    failed = 0
    for seed in range(options.seed, options.seed + options.cases):
        note(f"case {seed}")
        with tempfile.TemporaryDirectory() as folder:
            try:
                found.append(judged(case(Path(folder), options.kind, seed, options.draws), seed))
            except MotorfitError as error:
                failed += 1
                note(f"failed: {error}")
    if options.json is not None:
        document = {"machine": machine(), "cases": found}
        options.json.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    if not found:
        return 1
    print(f"{len(found)} cases of kind {options.kind}, {failed} failed")
    report(found)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
