"""The service killed without warning while it writes, again and again; see benchmarks/README.md.

Uploads go in with keys; at random moments a server process, a worker, a job's process, the process that holds
all of them, or everything at once is killed with SIGKILL. In the end every acknowledged upload must be a fit,
once, or have lost the worker or the process that had it twice; every file must be whole; and the catalogue
made anew must be the one that is there.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import signal
import sqlite3
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from benchmarks.common import machine, note
from motorfit.archive.store import list_fits, load_fit, rebuild_catalogue
from motorfit_api.job import ATTEMPTS
from motorfit_api.jobs import NAME
from motorfit_api.worker import CHILD
from tests.api.test_killed import Served, _children

KINDS = ("server", "worker", "job", "head", "all")
WEIGHTS = (3, 2, 2, 2, 2)


def kill(served: Served, kind: str, rng: random.Random, blamed: Counter[str]) -> bool:
    """Kill something of a kind; False where there is none. Jobs that were in it are counted."""
    root = served.process.pid
    workers = _children(root, "motorfit_api.worker")
    jobs = [child for worker in workers for child in _children(worker, CHILD)]
    servers = _children(root, "motorfit_api.process")
    if kind in ("head", "all"):
        if kind == "all":
            # The head first and no pause: nobody is left to put anything in order.
            for pid in (root, *workers, *jobs, *servers):
                _end(pid)
        served.restart()
        return True
    found = {"server": servers, "worker": workers, "job": jobs}[kind]
    if not found:
        return False
    victim = rng.choice(found)
    # Not after: a process that has ended has no command line.
    try:
        told = Path(f"/proc/{victim}/cmdline").read_bytes().rstrip(b"\0").rsplit(b"/", 1)[-1].decode()
    except OSError:  # it has just ended
        return False
    _end(victim)
    if kind == "job":
        blamed[told] += 1
    if kind == "worker":
        # It is dead and its successor takes a while to start: what it held is still written down.
        blamed.update(_held(served, victim))
    return True


def _end(pid: int) -> None:
    with contextlib.suppress(ProcessLookupError):  # it has come to its end
        os.kill(pid, signal.SIGKILL)


def _held(served: Served, worker: int) -> list[str]:
    path = served.library / ".service" / NAME
    if not path.is_file():  # nothing has been uploaded yet
        return []
    with closing(sqlite3.connect(path, timeout=20.0)) as base:
        rows = base.execute("SELECT id FROM jobs WHERE state = 'running' AND worker LIKE ?", (f"%#{worker}",))
        return [row[0] for row in rows]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pause", type=float, default=3.0, help="longest time between kills, s")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    rng = random.Random(options.seed)
    done = dict.fromkeys(KINDS, 0)
    blamed: Counter[str] = Counter()
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
                kind = rng.choices(KINDS, WEIGHTS)[0]
                if not kill(served, kind, rng, blamed):
                    continue
                done[kind] += 1
                if sum(done.values()) % 10 == 0:
                    note(f"{sum(done.values())} kills, {len(acknowledged)} uploads acknowledged")
            ending.set()
            feeder.join()
            verdict = judge(served, acknowledged, blamed)
        finally:
            ending.set()
            served.process.send_signal(signal.SIGINT)
            served.process.wait(30.0)
    found = {"machine": machine(), "kills": done, **verdict}
    print(json.dumps(found, indent=2))
    if options.json is not None:
        options.json.write_text(json.dumps(found, indent=2))
    bad = any(verdict[name] for name in ("lost", "damaged", "twice", "failed_too_soon"))
    sys.exit(1 if bad or not verdict["catalogue_equal"] else 0)


def judge(served: Served, acknowledged: dict[int, str], blamed: Mapping[str, int]) -> dict[str, Any]:
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
        # A job whose process or worker was killed twice is reported as failed, with why; that is not a loss.
        "reported_failed": sum(job["state"] == "failed" for job in ended.values()),
        "failed_too_soon": [
            (job["job"], blamed.get(job["job"], 0), job["problem"])
            for job in ended.values()
            if job["state"] == "failed" and blamed.get(job["job"], 0) < ATTEMPTS
        ],
        "lost": sorted(done - seeds.keys()),
        "twice": sorted(seed for seed, count in seeds.items() if count > 1),
        "damaged": [fit.fit_id for fit in kept if fit.problem is not None],
        "catalogue_equal": rebuild_catalogue(served.library) == kept,
    }


if __name__ == "__main__":
    main()
