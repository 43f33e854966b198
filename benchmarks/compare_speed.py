"""How long comparing many motors takes, beside doing the same pair by pair in plain numpy.

Usage: python -m benchmarks.compare_speed [--motors N] [--draws N] [--repeats N] [--json OUT]
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine
from motorfit.answers.compare import compare
from motorfit.answers.predict import predict
from motorfit.answers.question import machine_of
from motorfit.physics.steady import operating_points
from tests.answers.benches import TRUTH, near, one_bench
from tests.answers.standin import StandIn

METRICS = ("kv", "max_thrust_n", "max_current_a", "peak_torque_nm", "peak_efficiency", "hover_power_w")
PROPELLER, VOLTS = "p7x35x3", 22.2


def fits_of(motors: int, draws: int) -> list[StandIn]:
    """Motors of one bench with so many draws each."""
    rng = np.random.default_rng(1)
    names = [f"motor-{k + 1}" for k in range(motors)]
    return one_bench(rng, [near(rng, 0.02, TRUTH) for _ in names], names=names, draws=draws)


def peer(fits: Sequence[StandIn]) -> dict[tuple[str, str, str], Any]:
    """The same answers by the shortest script one would write: solve, subtract, `numpy.quantile`.

    Efficiency from the draws of nineteen throttles; no rank, margin, score, claim or caution; no hover.
    """
    found: dict[str, dict[str, Any]] = {}
    for fit in fits:
        built = machine_of(fit, PROPELLER, voltage_v=VOLTS)
        points = operating_points(np.linspace(0.1, 1.0, 19), VOLTS, built.drive, built.load)
        efficiency = points.mechanical_power / points.electrical_power
        found[fit.motor] = {
            "kv": fit.draws["kv"].ravel(),
            "max_thrust_n": points.thrust[:, -1],
            "max_current_a": points.bus_current[:, -1],
            "peak_efficiency": efficiency.max(axis=1),
        }
    out = {}
    for first, second in combinations(found, 2):
        for name, values in found[first].items():
            gap = values - found[second][name]
            out[first, second, name] = (*np.quantile(gap, (0.05, 0.5, 0.95)), np.mean(gap > 0.0))
    return out


def timed(work: Callable[[], Any], repeats: int) -> tuple[list[float], float]:
    """Wall times [s] of some calls after a first one that is not counted, and the mean processor time [s]."""
    work()
    walls = []
    spent = time.process_time()
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        walls.append(time.perf_counter() - begin)
    return walls, (time.process_time() - spent) / repeats


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--motors", type=int, default=20)
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--json", type=Path, metavar="OUT")
    options = parser.parse_args()
    if not 2 <= options.motors <= 100 or options.draws < 100 or options.repeats < 1:
        parser.error("--motors from 2 to 100, --draws from 100, --repeats from 1")
    fits = fits_of(options.motors, options.draws)

    def whole() -> dict[str, Any]:
        return compare(fits, metrics=METRICS, propeller=PROPELLER, voltage_v=VOLTS).to_json()

    rows = {
        f"compare, {len(METRICS)} metrics, with ranks, dominance, labels and cautions": whole,
        "  of which one prediction a motor": lambda: [
            predict(fit, propeller=PROPELLER, voltage_v=VOLTS) for fit in fits
        ],
        "a plain script, 4 metrics, intervals and probabilities only": lambda: peer(fits),
    }
    report: dict[str, Any] = {
        "machine": machine(),
        "motors": len(fits),
        "draws": options.draws,
        "walls_s": {},
        "cpu_s": {},
    }
    print("  ".join(f"{k}: {v}" for k, v in report["machine"].items()))
    print(f"{len(fits)} motors, {options.draws} draws, {len(fits) * (len(fits) - 1) // 2} pairs")
    for label, work in rows.items():
        walls, cpu = timed(work, options.repeats)
        report["walls_s"][label.strip()], report["cpu_s"][label.strip()] = walls, cpu
        print(f"{label:75}{np.median(walls):8.3f} s  (least {min(walls):.3f}, processor {cpu:.3f})")
    if options.json is not None:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
