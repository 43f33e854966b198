"""How long a fit takes, cold and warm, beside plain ensemble samplers on the same posterior in the same run.

Usage: python -m benchmarks.fit_speed [--seed N] [--draws N] [--repeats N] [--peer-seconds S] [--rich]
                                      [--json OUT]
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.common import machine, note, read
from benchmarks.gradient_peer import nutpie_nuts
from benchmarks.peers import Sampled, lmfit_emcee, stretch_emcee
from motorfit.bench.reduce import reduce_runs
from motorfit.inference.fit import fit_campaign, optimise
from motorfit.inference.result import FitResult
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

RUNS = ("no-load", "ramp", "spin-up", "steps", "coast-down")
RATE_HZ = 750.0
"""With these five runs about 28,000 samples."""


def main() -> int:
    options = _arguments()
    make = BenchOptions.rich if options.rich else BenchOptions
    with tempfile.TemporaryDirectory() as folder:
        bench = make(motors=1, propellers=1, runs=RUNS, sample_rate_hz=RATE_HZ)
        truth = simulate_campaign(Path(folder) / "campaign", seed=options.seed, options=bench)
        report: dict[str, Any] = {"machine": machine(), "options": bench.to_json(), "seed": options.seed}
        note("cold command, kernels compiled anew")
        report["first"] = cold_fit(truth.campaign, Path(folder), options, "kernels")
        note("cold command")
        report["cold"] = cold_fit(truth.campaign, Path(folder), options, "kernels")
        note("warm fits")
        campaign, logs = read(truth.campaign)
        report["samples"] = sum(log.time_s.size for log in logs if log.time_s is not None)
        fit_campaign(campaign, logs, seed=options.seed, draws=options.draws)  # loads what is loaded lazily
        fits, walls = [], []
        spent = time.process_time()
        for k in range(options.repeats):
            begin = time.perf_counter()
            fits.append(fit_campaign(campaign, logs, seed=options.seed + k, draws=options.draws))
            walls.append(time.perf_counter() - begin)
        report["warm"] = warm(fits, walls) | {"cpu_s": (time.process_time() - spent) / options.repeats}
        note("reference path")
        begin, spent = time.perf_counter(), time.process_time()
        fit = fit_campaign(campaign, logs, method="ensemble", seed=options.seed, draws=options.draws)
        wall, cpu = time.perf_counter() - begin, time.process_time() - spent
        report["reference"] = reference(fit, wall, cpu, report["warm"]["wall_s"])
        runs = reduce_runs(logs)
        begin = time.perf_counter()
        target, optimum = optimise(campaign, runs)
        report["optimum_s"] = time.perf_counter() - begin
        report["coordinates"], report["blocks"] = target.graph.size, int(target.flat.h.size)
        peers = []
        for peer in (lmfit_emcee, stretch_emcee, nutpie_nuts):
            note(f"peer: {peer.__name__}")
            try:
                peers.append(peer(target, optimum, options.seed, options.peer_seconds))
            except ModuleNotFoundError as absent:
                note(f"left out, {absent.name} is not installed: pip install 'motorfit[peers]'")
        report["peers"] = [vars(p) | {"to_ess_1000_s": p.to_thousand_s} for p in peers]
    for line in table(report, peers):
        print(line)
    if options.json is not None:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    return 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seed", type=int, default=1, help="of the bench, the fits and the peers")
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--repeats", type=int, default=5, help="warm fits, each with a seed of its own")
    parser.add_argument("--peer-seconds", type=float, default=60.0, help="for each peer")
    parser.add_argument("--rich", action="store_true", help="physics beyond the nominal")
    parser.add_argument("--json", type=Path, metavar="OUT")
    options = parser.parse_args()
    if options.repeats < 1 or options.peer_seconds <= 0.0:
        parser.error("--repeats must be at least 1 and --peer-seconds above 0")
    return options


def cold_fit(campaign: Path, folder: Path, options: argparse.Namespace, cache: str) -> dict[str, Any]:
    """`motorfit fit` in a process of its own, with a cache of kernels of its own.

    The first one finds that cache empty.
    """
    code = "import sys; from motorfit.cli import main; sys.exit(main())"
    command = [
        sys.executable, "-c", code, "fit", str(campaign), "--library", str(folder / "library"),
        "--seed", str(options.seed), "--draws", str(options.draws), "--json",
    ]  # fmt: skip
    root = str(Path(__file__).resolve().parent.parent)
    path = os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH"))))
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / cache), "PYTHONPATH": path}
    begin = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    wall = time.perf_counter() - begin
    if done.returncode != 0:
        raise SystemExit(f"motorfit fit failed:\n{done.stderr}")
    answer = json.loads(done.stdout)
    diagnostics = answer["motors"][0]["diagnostics"]
    return {"wall_s": wall, "bytes": answer["fits"][0]["size_bytes"]} | _path(diagnostics)


def _path(diagnostics: dict[str, Any]) -> dict[str, Any]:
    return {
        name: diagnostics[name] for name in ("method", "stages", "sound", "ess_bulk", "model_evaluations")
    }


def warm(fits: list[FitResult], walls: list[float]) -> dict[str, Any]:
    """Medians of wall time and of the smallest ESS, path of the median fit, the ESS that repeats show.

    Draws of the fast path have no order, so a chain's ESS cannot see copies among them; how far means of
    repeats with other seeds lie apart sees everything.
    """
    found = [_path(fit.motors[0].attributes["diagnostics"]) for fit in fits]
    middle = int(np.argsort(walls)[len(walls) // 2])
    shown = found[middle] | {"wall_s": float(np.median(walls)), "walls_s": walls}
    shown["ess_bulk"] = float(np.median([f["ess_bulk"] for f in found]))
    shown["ess_between_repeats"] = _between([fit.motors[0].draws for fit in fits]) if len(fits) > 2 else None
    return shown


def reference(fit: FitResult, wall_s: float, cpu_s: float, fast_s: float) -> dict[str, Any]:
    """The reference path: its whole time, to fifty autocorrelation times of every walker, and when it had an
    ESS of 1000: the fast path's time, from which it starts, and its share of the rest."""
    diagnostics = fit.motors[0].attributes["diagnostics"]
    ess = diagnostics["ensemble"]["evaluations"] / diagnostics["ensemble"]["autocorrelation_steps"]
    return _path(diagnostics) | {
        "wall_s": wall_s, "cpu_s": cpu_s, "ess": ess,
        "to_ess_1000_s": fast_s + (wall_s - fast_s) * min(1.0, 1000.0 / ess),
    }  # fmt: skip


def _between(repeats: list[Any]) -> float:
    """Variance of draws over variance of the means of repeats: median over parameters."""
    ratios = []
    for name in repeats[0]:
        draws: npt.NDArray[np.float64] = np.stack([np.asarray(d[name], dtype=np.float64) for d in repeats])
        draws = draws.reshape(*draws.shape[:3], -1)
        inner = draws.var(axis=(1, 2)).mean(axis=0)
        outer = draws.mean(axis=(1, 2)).var(axis=0, ddof=1)
        ratios += [a / b for a, b in zip(inner, outer, strict=True) if b > 0.0]
    return float(np.median(ratios))


def table(report: dict[str, Any], peers: list[Sampled]) -> list[str]:
    """The report as lines of text."""
    lines = ["  ".join(f"{k}: {v}" for k, v in report["machine"].items())]
    lines.append(
        f"{report['samples']} samples in {len(RUNS)} runs, {report['blocks']} blocks, "
        f"{report['coordinates']} coordinates; optimum alone {report['optimum_s']:.2f} s"
    )
    lines.append(f"{'':34}{'wall s':>9}{'bulk ESS':>10}{'s to ESS 1000':>15}  how")
    goal = 0.0
    for label, key in (
        ("motorfit fit, first ever", "first"),
        ("motorfit fit, cold", "cold"),
        (f"fit_campaign, warm (of {len(report['warm']['walls_s'])})", "warm"),
    ):
        r = report[key]
        # a fit delivers all its draws at once: never less than its wall time
        goal = r["wall_s"] * max(1.0, 1000.0 / r["ess_bulk"])
        how = f"{r['method']}, {r['stages']} stage(s), {'sound' if r['sound'] else 'NOT SOUND'}"
        lines.append(f"{label:34}{r['wall_s']:9.2f}{r['ess_bulk']:10.0f}{goal:15.2f}  {how}")
    r = report["reference"]
    how = f"two ensembles to fifty autocorrelation times, {'sound' if r['sound'] else 'NOT SOUND'}"
    lines.append(
        f"{'reference path, warm':34}{r['wall_s']:9.2f}{r['ess']:10.0f}{r['to_ess_1000_s']:15.2f}  {how}"
    )
    for p in peers:
        how = f"{p.walkers} walkers, {p.steps} steps, R-hat {p.r_hat:.2f}, acceptance {p.acceptance:.2f}"
        lines.append(f"{p.name:34}{p.wall_s:9.2f}{p.ess:10.0f}{p.to_thousand_s:15.1f}  {how}")
    between = report["warm"]["ess_between_repeats"]
    if between is not None:
        lines.append(f"ESS by the spread of means between warm fits: {between:.0f}")
    spent = ", ".join(
        f"{name} {cpu:.2f} s"
        for name, cpu in (
            ("warm fit", report["warm"]["cpu_s"]),
            ("reference path", report["reference"]["cpu_s"]),
            *((p.name, p.cpu_s) for p in peers),
        )
    )
    lines.append(f"Processor time, which other work on the machine does not stretch: {spent}")
    for p in peers:
        least = "" if p.mixed else "at least "
        lines.append(f"{p.name}: {least}{p.to_thousand_s / goal:.1f} times the warm fit's time to ESS 1000")
    lines.append("Peers start at the optimum, whose time is not counted for them.")
    if not all(p.mixed for p in peers):
        lines.append(
            "Where R-hat is above 1.05 the ESS is mostly what the start gave: give more --peer-seconds."
        )
    return lines


if __name__ == "__main__":
    raise SystemExit(main())
