"""How often intervals hold the truth: fits of simulated benches whose truth is known.

Usage: python -m benchmarks.coverage [--benches N] [--rich] [--spread usual|prior] [--jobs N] [--seed N]
                                     [--draws N] [--method auto|fast|ensemble] [--json OUT]
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from benchmarks.common import machine, note

PARAMETERS = {
    "kv": "motor", "kt": "motor", "winding_resistance": "motor", "no_load_current": "motor",
    "rotor_inertia": "motor", "thrust_coefficient": "propeller", "torque_coefficient": "propeller",
}  # fmt: skip
INTERVAL = 0.90


@dataclass(frozen=True)
class Job:
    """One bench to simulate and fit."""

    seed: int
    rich: bool
    spread: Literal["usual", "prior"]
    draws: int
    method: str


def one(job: Job) -> dict[str, Any]:
    """Simulate, fit and compare one bench: `z` and `inside` by parameter, or `failed` with the message.

    One motor and one propeller, so that every parameter counts once a bench and benches are independent.
    """
    from benchmarks.common import read
    from motorfit.errors import MotorfitError
    from motorfit.inference.fit import fit_campaign
    from motorfit.synthetic.options import BenchOptions
    from motorfit.synthetic.simulate import simulate_campaign

    make = BenchOptions.rich if job.rich else BenchOptions
    with tempfile.TemporaryDirectory() as folder:
        truth = simulate_campaign(
            Path(folder), seed=job.seed, options=make(motors=1, propellers=1, spread=job.spread)
        )
        begin = time.perf_counter()
        try:
            campaign, logs = read(truth.campaign)
            fit = fit_campaign(campaign, logs, method=job.method, seed=job.seed, draws=job.draws)
        except MotorfitError as error:
            return {"seed": job.seed, "failed": str(error)}
    motor = fit.motors[0]
    out: dict[str, Any] = {"seed": job.seed, "wall_s": time.perf_counter() - begin, "z": {}, "inside": {}}
    for name, per in PARAMETERS.items():
        owner = {"motor": motor.motor} if per == "motor" else {"propeller": motor.propellers[0]}
        true = truth.value(name, **owner)
        draws = np.asarray(motor.draws[name], dtype=np.float64).ravel()
        low, high = np.quantile(draws, (0.5 - 0.5 * INTERVAL, 0.5 + 0.5 * INTERVAL))
        out["z"][name] = float((true - draws.mean()) / draws.std())
        out["inside"][name] = bool(low <= true <= high)
    d = motor.attributes["diagnostics"]
    out["path"] = "fast, staged" if d["method"] == "fast" and d["stages"] > 1 else d["method"]
    out |= {name: d[name] for name in ("sound", "pareto_k", "r_hat", "ess_bulk", "slow_error")}
    return out


def main() -> int:
    options = _arguments()
    jobs = [
        Job(options.seed + k, options.rich, options.spread, options.draws, options.method)
        for k in range(options.benches)
    ]
    if options.jobs > 1:
        # processes share the cores already; threads of linear algebra on top would only fight over them
        for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
            os.environ.setdefault(name, "1")
    fits: list[dict[str, Any]] = []
    report: dict[str, Any] = {}
    with ProcessPoolExecutor(options.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        for fit in pool.map(one, jobs):
            fits.append(fit)
            told = fit["failed"] if "failed" in fit else f"{fit['path']}, {fit['wall_s']:.1f} s"
            note(f"bench {len(fits)} of {len(jobs)}, seed {fit['seed']}: {told}")
            report = {
                "machine": machine(), "interval": INTERVAL, "first_job": asdict(jobs[0]),
                "benches": len(fits), "parameters": summary(fits), "paths": paths(fits), "fits": fits,
            }  # fmt: skip
            if options.json is not None:  # after every bench: a long run that is broken off still says much
                options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    for line in table(report):
        print(line)
    return 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--benches", type=int, default=25)
    parser.add_argument("--rich", action="store_true", help="physics beyond the nominal")
    parser.add_argument("--spread", choices=("usual", "prior"), default="usual", help="of true parameters")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--seed", type=int, default=1000, help="of the first bench; the others follow")
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--method", choices=("auto", "fast", "ensemble"), default="auto")
    parser.add_argument("--json", type=Path, metavar="OUT")
    options = parser.parse_args()
    if options.benches < 1 or options.jobs < 1:
        parser.error("--benches and --jobs must be at least 1")
    return options


def summary(fits: list[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """By parameter: intervals that hold the truth, of how many, the share with its error, mean z and |z|.

    The error is the standard deviation of the share given the counts under Jeffreys' prior, Beta(k + 1/2,
    n - k + 1/2), which is not zero where all or none hold.
    """
    done = [fit for fit in fits if "failed" not in fit]
    out = {}
    for name in PARAMETERS if done else ():
        z = np.array([fit["z"][name] for fit in done])
        n, k = len(done), sum(fit["inside"][name] for fit in done)
        a, b = k + 0.5, n - k + 0.5
        error = (a * b / ((a + b) ** 2 * (a + b + 1.0))) ** 0.5
        out[name] = {
            "inside": k, "of": n, "share": k / n, "error": error,
            "mean_z": float(z.mean()), "mean_abs_z": float(np.abs(z).mean()),
        }  # fmt: skip
    return out


def paths(fits: list[dict[str, Any]]) -> dict[str, int]:
    """How many fits took which path; those that are not sound or failed are counted apart."""

    def path(fit: dict[str, Any]) -> str:
        if "failed" in fit:
            return "failed"
        return str(fit["path"]) + ("" if fit["sound"] else ", not sound")

    return dict(Counter(path(fit) for fit in fits))


def table(report: dict[str, Any]) -> list[str]:
    """The report as lines of text."""
    lines = ["  ".join(f"{k}: {v}" for k, v in report["machine"].items())]
    lines.append(f"{'parameter':22}{'held by 90 %':>14}{'share':>8}{'error':>8}{'mean z':>9}{'mean |z|':>10}")
    for name, s in report["parameters"].items():
        held = f"{s['inside']} of {s['of']}"
        lines.append(
            f"{name:22}{held:>14}{s['share']:8.2f}{s['error']:8.2f}{s['mean_z']:9.2f}{s['mean_abs_z']:10.2f}"
        )
    lines.append("Where intervals are right: share 0.90, mean z 0, mean |z| 0.80.")
    lines.append("paths: " + "; ".join(f"{path}: {count}" for path, count in report["paths"].items()))
    return lines


if __name__ == "__main__":
    raise SystemExit(main())
