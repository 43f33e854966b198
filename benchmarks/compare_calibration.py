"""Whether probabilities and intervals of `compare` hold what they promise: simulated benches of two motors.

Usage: python -m benchmarks.compare_calibration [--benches N] [--kind pair|rich|twins|days] [--seed N]
                                                [--as-believed] [--draws N] [--json OUT]
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.common import machine, note, read
from motorfit.answers.compare import compare
from motorfit.answers.comparison import Comparison
from motorfit.answers.facts import campaign_air
from motorfit.answers.figures import Conditions, figures, machine_for
from motorfit.answers.metrics import chosen_metrics
from motorfit.answers.pairing import Subject
from motorfit.answers.spreads import PROPELLER_SPREAD, REMOUNT_SCATTER
from motorfit.archive.loaded import LoadedFit
from motorfit.archive.store import load_fit, save_fit
from motorfit.errors import MotorfitError
from motorfit.inference.fit import fit_campaign
from motorfit.physics import motor as motor_physics
from motorfit.synthetic.draw import draw_air, draw_motor
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.plan import plan_campaign
from motorfit.synthetic.simulate import Scenario, draw_scenario, write_scenario
from motorfit.synthetic.stand import draw_stand
from motorfit.synthetic.truth import TrueMotor, Truth

METRICS = (
    "kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia", "max_thrust_n",
    "max_current_a", "peak_torque_nm", "peak_efficiency", "rise_time_s", "fall_time_s",
    "hover_power_w", "max_thrust_n_per_gram",
)  # fmt: skip
VOLTS = 22.2
DRAG = ("drag_current_static", "drag_current_slope", "drag_current_windage")
_ABSENT = {"saturation_current": math.inf}
"""What a parameter is that a simulated motor does not have; for all others nothing, 0."""


@dataclass(frozen=True)
class Bench:
    """Two motors to compare, the fits that tie their campaigns, and what is true of each."""

    fits: tuple[LoadedFit, LoadedFit]
    companions: tuple[LoadedFit, ...]
    truths: tuple[Truth, Truth]


WARMTH_K = 1.0
"""Scale of what a motor is warmer than the air when a run begins, as the table of priors has it."""


def remounted(motor: TrueMotor, rng: np.random.Generator) -> TrueMotor:
    """The same motor mounted again on another day, as far off as is believed of that."""
    return scattered(motor, rng, REMOUNT_SCATTER, motor.id)


def scattered(motor: TrueMotor, rng: np.random.Generator, sd: Mapping[str, float], id: str) -> TrueMotor:
    """A unit of a model, or a mounting of a unit: every quantity off by its own relative scatter."""
    p = dict(motor.parameters)
    off = {name: math.exp(scale * float(rng.standard_normal())) for name, scale in sd.items()}
    for name in ("kv", "kt_kv_ratio", "winding_resistance", "rotor_inertia"):
        p[name] *= off[name]
    for name in DRAG:
        p[name] *= off["no_load_current"]
    return replace(motor, id=id, parameters=dependent(p))


def near(motor: TrueMotor, of: TrueMotor, rng: np.random.Generator) -> TrueMotor:
    """A motor a fraction of a per cent from another, so that which is greater is often open."""
    p = dict(of.parameters)
    for name, spread in (
        ("kv", 0.003), ("kt_kv_ratio", 0.002), ("winding_resistance", 0.01), ("rotor_inertia", 0.02),
        ("drag_current_static", 0.03), ("drag_current_slope", 0.03),
    ):  # fmt: skip
        p[name] *= math.exp(rng.normal(0.0, spread))
    return replace(motor, mass_g=of.mass_g, label_kv=of.label_kv, parameters=dependent(p))


def dependent(parameters: Mapping[str, float]) -> dict[str, float]:
    """Work K_t and the no-load current out again from what they follow from."""
    p = dict(parameters)
    p["kt"] = float(motor_physics.torque_constant(p["kv"], p["kt_kv_ratio"]))
    drag = [p[name] for name in DRAG]
    p["no_load_current"] = float(motor_physics.no_load_current(p["kv"], p["winding_resistance"], *drag))
    return p


def fitted(folder: Path, scenario: Scenario, rng: np.random.Generator, seed: int, draws: int) -> Truth:
    """Run a scenario, fit it with the fast method, and store it in the folder's library."""
    place = folder / scenario.title.replace(" ", "-")
    truth = write_scenario(place, scenario, rng, seed)
    campaign, logs = read(truth.campaign)
    save_fit(folder / "library", fit_campaign(campaign, logs, method="fast", seed=seed, draws=draws))
    return truth


def bench(folder: Path, kind: str, seed: int, draws: int, *, as_believed: bool = False) -> Bench:
    """Simulate and fit one bench, or two days of which a motor and a propeller saw both."""
    rng = np.random.default_rng(seed)
    if kind in ("pair", "rich"):
        options = BenchOptions.rich() if kind == "rich" else BenchOptions(spread="prior")
    else:
        options = BenchOptions(propellers=1)
    if as_believed:
        options = replace(options, warmth_k=WARMTH_K)
    scenario = draw_scenario(rng, options, "First day")
    first, second = scenario.motors
    if kind == "twins":
        scenario = replace(scenario, motors=(first, near(second, first, rng)))
    library = folder / "library"
    truth = fitted(folder, scenario, rng, seed, draws)
    if kind != "days":
        return Bench((load_fit(library, first.id), load_fit(library, second.id)), (), (truth, truth))
    one = load_fit(library, first.id), load_fit(library, second.id)
    motors = (first, draw_motor(rng, "motor-3", options))
    screws = scenario.propellers
    if as_believed:
        motors = (remounted(first, rng), motors[1])
        screws = tuple(
            replace(p, parameters={
                name: value * math.exp(PROPELLER_SPREAD.get(name, 0.0) * float(rng.standard_normal()))
                for name, value in p.parameters.items()
            })
            for p in screws
        )  # fmt: skip
    tested = [p.id for p in scenario.propellers if p.tested]
    runs = tuple(plan_campaign([m.id for m in motors], tested, scenario.flywheels[0].id, options))
    again = replace(
        scenario,
        title="Second day",
        air=draw_air(rng),
        stand=draw_stand(rng, options),
        motors=motors,
        propellers=screws,
        runs=runs,
    )
    later = fitted(folder, again, rng, seed + 1, draws)
    # the first day's copy of the propeller stands for both motors, in the answer and in the truth
    truths = truth, replace(later, propellers=truth.propellers)
    return Bench((one[1], load_fit(library, "motor-3")), (one[0], load_fit(library, first.id)), truths)


def as_true(fit: LoadedFit, truth: Truth) -> Subject:
    """One exact draw: what the fit would hold if it knew everything."""
    draws: dict[str, npt.NDArray[np.float64]] = {}
    known: Mapping[str, float] = {**truth.stand, **truth.motors[fit.motor].parameters}
    for name, values in fit.draws.items():
        if values.ndim == 3:
            each = [truth.propellers[p].parameters.get(name, 0.0) for p in fit.propellers]
            draws[name] = np.array([[each]])
        else:
            draws[name] = np.array([[known.get(name, _ABSENT.get(name, 0.0))]])
    return Subject(fit.motor, "truth", draws, fit)


@dataclass(frozen=True)
class Judged:
    """What is true beside what was said.

    ``metrics``: whether the interval holds the truth, z, P(first greater), whether it is, sharper by.
    ``labels``: of each motor and distance, the probability that K_v is within it of the label, whether it is.
    """

    metrics: dict[str, dict[str, float]]
    labels: list[dict[str, float]]


def judged(found: Bench) -> Judged:
    """Compare the two motors and set the answer beside the truth."""
    propeller = found.fits[0].propellers[0]
    ask: dict[str, Any] = {"propeller": propeller, "voltage_v": VOLTS, "metrics": METRICS}
    answer: Comparison = compare(found.fits, companions=found.companions, **ask)
    conditions = Conditions(
        propeller=propeller,
        voltage_v=VOLTS,
        air=campaign_air(found.fits[0]),
        hover_thrust_n=answer.conditions["hover_thrust_n"],
    )
    metrics = chosen_metrics(METRICS, propeller=True, voltage=True)
    true = []
    for fit, truth in zip(found.fits, found.truths, strict=True):
        subject = as_true(fit, truth)
        true.append(figures(subject, metrics, conditions, machine_for(subject, propeller, conditions)))
    out = {}
    for one in answer.metrics:
        (pair,) = one.differences
        gap = float(true[0][one.metric.name][0] - true[1][one.metric.name][0])
        out[one.metric.name] = {
            "inside": float(pair.low <= gap <= pair.high),
            "z": (gap - pair.median) / ((pair.high - pair.low) / 3.29),
            "p": pair.probability_first_greater,
            "greater": float(gap > 0.0),
            "sharper_by": pair.sharper_by,
            "ratio_sharper_by": pair.ratio_sharper_by,
        }
    labels = []
    for fit, truth in zip(found.fits, found.truths, strict=True):
        kv = truth.motors[fit.motor].parameters["kv"]
        for claim in answer.claims:
            if claim.motor == fit.motor and claim.printed:
                off = abs(kv / claim.claimed - 1.0)
                labels += [
                    {"step": step, "p": p, "within": float(off <= step)} for step, p in claim.within.items()
                ]
    return Judged(out, labels)


def row(name: str, each: list[dict[str, float]]) -> str:
    """One line of the table."""
    get = {key: np.array([one[key] for one in each]) for key in each[0]}
    p, n = get["p"], len(each)
    brier, ideal = np.mean((p - get["greater"]) ** 2), np.mean(p * (1.0 - p))
    scatter = math.sqrt(float(np.sum(p * (1.0 - p) * (1.0 - 2.0 * p) ** 2))) / n
    return (
        f"{name:24}{int(get['inside'].sum()):5d} of {n:<5d}{np.mean(np.abs(get['z'])):8.2f}{brier:10.4f}"
        f"{ideal:9.4f} ± {scatter:.4f}{np.median(get['sharper_by']):12.1f}"
        f"{np.nanmedian(get['ratio_sharper_by']):8.1f}"
    )


def label_lines(found: list[Judged]) -> list[str]:
    """How often K_v was within a distance of the label, beside how often that was said."""
    each = [one for bench in found for one in bench.labels]
    lines = []
    for step in sorted({one["step"] for one in each}):
        p = np.array([one["p"] for one in each if one["step"] == step])
        was = np.array([one["within"] for one in each if one["step"] == step])
        open_ = (p > 0.1) & (p < 0.9)
        lines.append(
            f"K_v within {100.0 * step:g} % of the label: {was.sum():.0f} of {len(p)}, {p.sum():.1f} said; "
            f"where that was open (0.1 to 0.9): {was[open_].sum():.0f} of {open_.sum()}, "
            f"{p[open_].sum():.1f} said"
        )
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--benches", type=int, default=12)
    parser.add_argument("--kind", choices=("pair", "rich", "twins", "days"), default="pair")
    parser.add_argument("--seed", type=int, default=700, help="of the first bench; the others follow")
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument(
        "--as-believed",
        action="store_true",
        help="motors warm at the start, mountings and copies of propellers as far off as is believed",
    )
    parser.add_argument("--json", type=Path, metavar="OUT")
    options = parser.parse_args()
    if options.benches < 1:
        parser.error("--benches must be at least 1")
    found: list[Judged] = []
    failed = 0
    for seed in range(options.seed, options.seed + options.benches):
        note(f"bench {seed}")
        with tempfile.TemporaryDirectory() as folder:
            try:
                made = bench(Path(folder), options.kind, seed, options.draws, as_believed=options.as_believed)
                found.append(judged(made))
            except MotorfitError as error:
                failed += 1
                note(f"failed: {error}")
    if options.json is not None:
        options.json.write_text(
            json.dumps({"machine": machine(), "benches": [asdict(one) for one in found]}, indent=1) + "\n",
            encoding="utf-8",
        )
    if not found:
        return 1
    print(f"{len(found)} benches of kind {options.kind}, {failed} failed")
    heads = f"{'Brier':>10}{'ideal':>9} ± scatter{'sharper by':>12}{'ratio':>8}"
    print(f"{'figure':24}{'held by 90 %':>13}{'mean |z|':>8}{heads}")
    for name in METRICS:
        print(row(name, [one.metrics[name] for one in found]))
    print(row("all together", [one.metrics[name] for one in found for name in METRICS]))
    print("Where intervals are right, mean |z| is 0.80. Figures of one bench are not independent.")
    print(*label_lines(found), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
