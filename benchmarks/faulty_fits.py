"""Coverage of fits whose logs have faults that reading and fitting say they make up for.

Simulated benches get some such faults each, other ones in every bench; what `check` calls an error is counted
as refused. Printed: how many true values lie within 90 % intervals, with and without the faults.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine, note
from benchmarks.faults import KINDS
from benchmarks.seeded_faults import FAULTS, Fault
from benchmarks.seeded_more import MORE_FAULTS
from motorfit.bench.campaign import load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.logs import read_runs, try_read_runs
from motorfit.bench.reduce import reduce_runs
from motorfit.calibration.bench import RANKED
from motorfit.calibration.judge import compared
from motorfit.errors import MotorfitError
from motorfit.inference.positions import posterior_positions
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign
from motorfit.synthetic.truth import Truth

REPAIRED = (
    "255 in", "65535 in", "speed at 0", "spikes of", "drops to zero", "gap", "uneven", "late by 12",
    "values held", "line", "header again", "cell", "a row", "a stamp", "stamps out of order", "200 NaN",
    "drifts", "moved by 3 sd", "rows ",
)  # fmt: skip
"""Parts of the names of faults that a fit makes up for, by what `check` says of them."""

CHOSEN = [f for f in (*FAULTS, *MORE_FAULTS) if any(part in f.name for part in REPAIRED)]


def damage(rng: np.random.Generator, folder: Path, count: int) -> list[str]:
    """Some faults, one after the other, in the logs of a bench; their names."""
    logs = {f.stem: f for f in sorted((folder / "logs").glob("*.csv"))}
    names: list[str] = []
    # faults of the text last: the others read their tables as numbers
    some: list[Fault] = [CHOSEN[int(i)] for i in rng.choice(len(CHOSEN), count, replace=False)]
    some.sort(key=lambda f: any(w in f.name for w in ("line", "header", "cell", "row", "stamp")))
    for fault in some:
        texts: Mapping[str, str] = {name: f.read_text() for name, f in logs.items()}
        try:
            where = fault.seed(rng, texts)
        except ValueError:  # a log that already holds text
            continue
        for name, content in where.changed.items():
            logs[name].write_bytes(content)
        names.append(f"{fault.name} ({where.detail})" if where.detail else fault.name)
    return names


def fitted(truth: Truth, seed: int) -> dict[str, Any]:
    """Which parameters' true values lie within 90 % intervals; or why there is no fit."""
    try:
        campaign = load_campaign(truth.campaign)
        logs, findings = try_read_runs(campaign)
        errors = check_campaign(campaign, logs, findings).errors
        if errors:
            return {"refused": [str(e) for e in errors]}
        runs = reduce_runs(read_runs(campaign))
        found = posterior_positions(campaign, runs, method="fast", seed=seed, draws=2000)
    except MotorfitError as error:
        return {"refused": [str(error)]}
    names = compared(found, truth, RANKED, seed)["parameters"]
    return {"sound": bool(found.sound), "u": {name: one["u"] for name, one in names.items()}}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=24)
    parser.add_argument("--seed", type=int, default=71_000)
    parser.add_argument("--faults", type=int, default=4)
    parser.add_argument("--json", type=Path)
    chosen = parser.parse_args()
    result: dict[str, Any] = {"machine": machine(), "benches": []}
    inside: dict[str, Counter[str]] = {"clean": Counter(), "faulty": Counter()}
    total: dict[str, Counter[str]] = {"clean": Counter(), "faulty": Counter()}
    for k in range(chosen.benches):
        seed = chosen.seed + k
        options: dict[str, Any] = {"motors": 1, "propellers": 1, "runs": KINDS[:4]}
        with tempfile.TemporaryDirectory() as name:
            rich = BenchOptions.rich(**options) if k % 2 else BenchOptions(**options)
            truth = simulate_campaign(Path(name), seed=seed, options=rich)
            row: dict[str, Any] = {"seed": seed, "clean": fitted(truth, seed)}
            row["faults"] = damage(np.random.default_rng(seed), Path(name), chosen.faults)
            row["faulty"] = fitted(truth, seed)
        result["benches"].append(row)
        for which in ("clean", "faulty"):
            for parameter, u in row[which].get("u", {}).items():
                total[which][parameter] += 1
                inside[which][parameter] += 0.05 <= u <= 0.95
        missed = [f"{n} {u:.3f}" for n, u in row["faulty"].get("u", {}).items() if not 0.05 <= u <= 0.95]
        note(f"{seed}: {row['faults']}")
        note(f"    {row['faulty'].get('refused') or 'outside: ' + (', '.join(missed) or 'none')}")
    for which in ("clean", "faulty"):
        refused = sum("refused" in row[which] for row in result["benches"])
        note(f"{which}: {sum(inside[which].values())} of {sum(total[which].values())}, {refused} refused")
        for parameter, count in total[which].items():
            note(f"  {inside[which][parameter]:3} of {count}  {parameter}")
    if chosen.json:
        chosen.json.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
