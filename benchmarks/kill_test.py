"""The service killed without warning while it writes, again and again; see benchmarks/README.md.

Uploads go in with keys; at random moments a server process, a worker, a job's process or everything is killed
with SIGKILL. In the end every acknowledged upload must be a fit, once; every file must be whole; and the
catalogue made anew must be the one that is there.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from benchmarks.common import machine, note
from motorfit.archive.store import list_fits, load_fit, rebuild_catalogue
from tests.api.test_killed import Served, _children

KINDS = ("server", "worker", "job", "all")


def victims(served: Served, kind: str) -> list[int]:
    """Processes to kill."""
    root = served.process.pid
    if kind == "server":
        return _children(root, "motorfit_api.process")
    workers = _children(root, "motorfit_api.worker")
    if kind == "worker":
        return workers
    return [child for worker in workers for child in _children(worker, "motorfit.cli.job")]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pause", type=float, default=3.0, help="longest time between kills, s")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    rng = random.Random(options.seed)
    done = dict.fromkeys(KINDS, 0)
    with tempfile.TemporaryDirectory() as folder:
        served = Served(Path(folder) / "library")
        acknowledged: dict[int, str] = {}
        ending = threading.Event()

        def feed() -> None:
            """Keep two jobs waiting; every upload is sent until it is acknowledged."""
            while not ending.is_set():
                waiting = [j for j in served.ask("/v1/jobs")["jobs"] if j["state"] in ("queued", "running")]
                if len(waiting) < 2:
                    seed = len(acknowledged)
                    acknowledged[seed] = served.upload(f"key-{seed}", seed)["job"]
                time.sleep(0.1)

        feeder = threading.Thread(target=feed)
        feeder.start()
        try:
            while sum(done.values()) < options.kills:
                time.sleep(rng.uniform(0.2, options.pause))
                kind = rng.choices(KINDS, (3, 3, 2, 2))[0]
                if kind == "all":
                    served.restart()
                else:
                    found = victims(served, kind)
                    if not found:
                        continue
                    os.kill(rng.choice(found), signal.SIGKILL)
                done[kind] += 1
                if sum(done.values()) % 10 == 0:
                    note(f"{sum(done.values())} kills, {len(acknowledged)} uploads acknowledged")
            ending.set()
            feeder.join()
            verdict = judge(served, acknowledged)
        finally:
            ending.set()
            served.process.send_signal(signal.SIGINT)
            served.process.wait(30.0)
    found = {"machine": machine(), "kills": done, **verdict}
    print(json.dumps(found, indent=2))
    if options.json is not None:
        options.json.write_text(json.dumps(found, indent=2))
    sys.exit(
        1
        if verdict["lost"] or verdict["damaged"] or verdict["twice"] or not verdict["catalogue_equal"]
        else 0
    )


def judge(served: Served, acknowledged: dict[int, str]) -> dict[str, Any]:
    """Compare what was acknowledged with what is there."""
    ended = {seed: served.ended(job) for seed, job in acknowledged.items()}
    kept = list_fits(served.library)
    seeds: dict[int, int] = {}
    for fit in kept:
        if fit.problem is None:
            seed = int(load_fit(served.library, fit.motor, fit.fit_id).attributes["seed"])
            seeds[seed] = seeds.get(seed, 0) + 1
    done = {seed for seed, job in ended.items() if job["state"] == "done"}
    return {
        "acknowledged": len(acknowledged),
        "done": len(done),
        # A job whose process was killed twice is reported as failed, with why; that is not a loss.
        "reported_failed": sum(job["state"] == "failed" for job in ended.values()),
        "lost": sorted(done - seeds.keys()),
        "twice": sorted(seed for seed, count in seeds.items() if count > 1),
        "damaged": [fit.fit_id for fit in kept if fit.problem is not None],
        "catalogue_equal": rebuild_catalogue(served.library) == kept,
    }


if __name__ == "__main__":
    main()
