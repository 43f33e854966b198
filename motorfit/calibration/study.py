"""Many benches in several processes, their records written as they come."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

from motorfit.calibration.bench import Job, do
from motorfit.calibration.records import append, missing, read_records
from motorfit.calibration.scenarios import Kind

Progress = Callable[[str, float], None]
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def study(
    kinds: Sequence[Kind],
    folder: Path,
    *,
    benches: int,
    seed: int,
    draws: int = 4000,
    jobs: int = 1,
    work: Callable[[Job], dict[str, Any]] | None = None,
    progress: Progress | None = None,
) -> int:
    """Do every bench that has no record in ``folder`` yet; return how many were done.

    Parameters
    ----------
    kinds : scenarios, each with ``benches`` seeds from ``seed`` on
    draws : of each fit
    jobs : processes; with 1 the benches are done in this one
    work : what makes a record of a job; `bench.do` unless told otherwise

    Raises
    ------
    CalibrationError : where records cannot be read or written
    """
    todo = [
        Job(kind.name, s, draws)
        for kind in kinds
        for s in missing(read_records(folder, kind.name), seed, benches)
    ]
    make = do if work is None else work
    done = 0

    def keep(record: dict[str, Any]) -> None:
        nonlocal done
        append(folder, record)
        done += 1
        if progress is not None:
            progress(f"{record['scenario']}, {done} of {len(todo)}", done / len(todo))

    if jobs <= 1:
        for job in todo:
            keep(make(job))
        return done
    # processes share the cores already; threads of linear algebra on top would only fight over them
    for name in THREADS:
        os.environ.setdefault(name, "1")
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        waiting: list[Future[dict[str, Any]]] = [pool.submit(make, job) for job in todo]
        try:
            for ready in as_completed(waiting):
                keep(ready.result())
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return done
