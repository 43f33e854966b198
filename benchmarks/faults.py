"""How often each fault of a log is found: seeded into simulated logs, one at a time; and how often none is.

A fault counts as found where a finding of its kind names the run and the channel, and its time span or rows
meet those of the fault.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine, note
from benchmarks.seeded_faults import FAULTS, Fault, Logs
from benchmarks.seeded_more import MORE_FAULTS
from motorfit.bench.campaign import Campaign, load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog, try_read_runs
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

KINDS = ("no-load", "ramp", "spin-up", "steps", "coast-down")


@dataclass
class Made:
    """A simulated bench, read once; the text of its logs by run id."""

    campaign: Campaign
    texts: dict[str, str]
    logs: tuple[RunLog, ...]


def make_bench(folder: Path, seed: int, rich: bool) -> Made:
    options = BenchOptions(motors=1, propellers=1, runs=KINDS)
    if rich:
        options = BenchOptions.rich(motors=1, propellers=1, runs=KINDS, tones=0.02)
    simulate_campaign(folder, seed=seed, options=options)
    campaign = load_campaign(folder / "campaign.toml")
    logs, findings = try_read_runs(campaign)
    if len(logs) != len(campaign.runs):
        raise SystemExit(f"a clean bench cannot be read: {[str(f) for f in findings]}")
    return Made(campaign, {r.id: r.file.read_text() for r in campaign.runs}, logs)


def findings_with(made: Made, changed: dict[str, bytes], folder: Path) -> tuple[Finding, ...]:
    """What `check` finds when some runs' logs are replaced."""
    runs = []
    for run in made.campaign.runs:
        if run.id in changed:
            file = folder / f"{run.id}.csv"
            file.write_bytes(changed[run.id])
            runs.append(run.model_copy(update={"file": file}))
    logs, findings = try_read_runs(made.campaign.model_copy(update={"runs": tuple(runs)}))
    new = {log.run.id: log for log in logs}
    unread = {r.id for r in runs} - set(new)
    whole = [new.get(log.run.id, log) for log in made.logs if log.run.id not in unread]
    rest = [f for log in made.logs if log.run.id not in changed for f in log.findings]
    return check_campaign(made.campaign, whole, [*findings, *rest]).findings


def is_found(fault: Fault, findings: Sequence[Finding], where: Logs) -> bool:
    for found in findings:
        if found.kind not in fault.kinds or (fault.channel and found.channel not in (fault.channel, None)):
            continue
        if found.run not in where.changed and not fault.whole_bench:
            continue
        if found.start_s is None or where.start_s is None:
            return True
        end = found.start_s if found.end_s is None else found.end_s
        if found.start_s <= (where.end_s or where.start_s) + 0.1 and end >= where.start_s - 0.1:
            return True
    return False


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=20)
    parser.add_argument("--seed", type=int, default=9000)
    parser.add_argument("--only", help="faults whose name holds this")
    parser.add_argument("--verbose", action="store_true", help="what was found instead, where one was missed")
    parser.add_argument("--json", type=Path)
    chosen = parser.parse_args()
    result: dict[str, Any] = {"machine": machine(), "benches": chosen.benches, "faults": {}}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        benches = [
            make_bench(folder / f"{chosen.seed + k}", chosen.seed + k, rich=k % 2 == 1)
            for k in range(2 * chosen.benches)
        ]
        for label, some in (("nominal", benches[::2]), ("rich", benches[1::2])):
            alarms = []
            for made in some:
                found = [f for f in findings_with(made, {}, folder) if f.severity != "note"]
                alarms += [found] if found else []
            result[f"false alarms, {label}"] = len(alarms)
            note(f"{len(alarms):3} of {len(some)} clean {label} benches raise an alarm")
            for found in alarms:
                note("      " + "; ".join(str(f) for f in found))
        rng = np.random.default_rng(chosen.seed)
        for fault in (*FAULTS, *MORE_FAULTS):
            if chosen.only and chosen.only not in fault.name:
                continue
            hits = tried = 0
            for made in benches[: chosen.benches]:
                where = fault.seed(rng, made.texts)
                findings = findings_with(made, where.changed, folder)
                tried += 1
                hit = is_found(fault, findings, where)
                hits += hit
                if not hit and chosen.verbose:
                    others = [f"{f.kind}/{f.run}/{f.channel}" for f in findings]
                    note(f"      missed {where.detail} at {where.start_s}: found {others}")
            result["faults"][fault.name] = {"found": hits, "of": tried, "kinds": list(fault.kinds)}
            sign = " " if hits >= 0.95 * tried else "!"
            note(f"{sign}{hits:3} of {tried}  {fault.name}")
    if chosen.json:
        chosen.json.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
