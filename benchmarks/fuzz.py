"""Thousands of damaged logs and campaign files: how many are read, refused, or bring out a fault of ours."""

from __future__ import annotations

import argparse
import random
import signal
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path
from types import FrameType

from benchmarks.common import note
from motorfit.bench import bulk, packedlog
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign
from tests.fuzz.judge import judge
from tests.fuzz.mutations import mutate_campaign, mutate_log

HANG_S = 20


def _hangs(number: int, frame: FrameType | None) -> None:
    raise TimeoutError(f"no end after {HANG_S} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    warnings.simplefilter("error")
    signal.signal(signal.SIGALRM, _hangs)
    outcome: Counter[str] = Counter()
    seen: Counter[str] = Counter()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        options = BenchOptions(motors=1, propellers=1, runs=("no-load", "ramp", "table"), sample_rate_hz=50.0)
        simulate_campaign(folder, seed=3, options=options)
        campaign = folder / "campaign.toml"
        text = campaign.read_text()
        logs = {p: p.read_bytes() for p in sorted((folder / "logs").iterdir())}
        sizes = {name: getattr(bulk, name) for name in ("LARGE", "PIECE", "TAIL", "_SMALLEST")}
        for case in range(chosen.cases):
            rng = random.Random(chosen.seed * 1_000_003 + case)
            file = rng.choice(list(logs))
            if rng.random() < 0.7:
                file.write_bytes(mutate_log(rng, logs[file]))
            else:
                campaign.write_text(mutate_campaign(rng, text), encoding="utf-8", errors="replace")
            for attribute, size in sizes.items():  # half of the time as a log of a million rows is read
                setattr(bulk, attribute, 1 << rng.randint(8, 14) if case % 2 else size)
            packedlog.LARGE, packedlog.PIECE, packedlog.TAIL = bulk.LARGE, bulk.PIECE, bulk.TAIL
            signal.alarm(HANG_S)
            try:
                outcome[judge(campaign)] += 1
            except Exception as error:  # whatever it is, it is what we look for
                outcome["fault"] += 1
                place = traceback.extract_tb(error.__traceback__)[-1]
                key = f"{type(error).__name__} at {place.filename}:{place.lineno}: {str(error)[:100]}"
                seen[key] += 1
                if seen[key] == 1:
                    note(f"case {case}: {key}")
                    note("".join(traceback.format_tb(error.__traceback__)[-4:]))
            finally:
                signal.alarm(0)
            file.write_bytes(logs[file])
            campaign.write_text(text)
    note(f"{chosen.cases} cases in {time.monotonic() - began:.0f} s: {dict(outcome)}")
    for key, count in seen.most_common():
        note(f"{count:5}  {key}")


if __name__ == "__main__":
    main()
