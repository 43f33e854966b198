"""Several processes on one library, and processes killed in the middle of a write."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from pathlib import Path

import pytest

from motorfit.archive import durable, store
from motorfit.archive.errors import ArchiveError
from tests.archive.factory import make_result

spawn = multiprocessing.get_context("spawn")


def write_fits(library: str, seed: int, number: int) -> None:
    for turn in range(number):
        store.save_fit(Path(library), make_result(seed=100 * seed + turn, draws=100))


def read_fits(library: str, number: int) -> None:
    for _ in range(number):
        store.list_fits(Path(library))
        for motor in store.list_motors(Path(library)):
            fit = store.load_fit(Path(library), motor)
            assert fit.draws["kv"].shape == (2, 100)
            assert fit.observed


def write_without_end(library: str, ready: str) -> None:
    result = make_result(draws=2000)
    store.save_fit(Path(library), result)
    Path(ready).touch()
    while True:
        store.save_fit(Path(library), result)


def complete_campaigns(library: Path) -> int:
    """Count campaign fits, each of which must have all its motors, readable."""
    by_campaign: dict[str, set[str]] = {}
    for fit in store.list_fits(library):
        assert fit.problem is None
        by_campaign.setdefault(fit.campaign_fit, set()).add(fit.motor)
    assert all(motors == {"alder-2207", "birch-2806"} for motors in by_campaign.values())
    return len(by_campaign)


def test_processes_share_a_library(tmp_path: Path) -> None:
    write_fits(str(tmp_path), 9, 1)
    workers = [spawn.Process(target=write_fits, args=(str(tmp_path), seed, 6)) for seed in range(3)]
    workers.append(spawn.Process(target=read_fits, args=(str(tmp_path), 12)))
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert [worker.exitcode for worker in workers] == [0, 0, 0, 0]
    assert complete_campaigns(tmp_path) == 1 + 3 * 6


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_a_writer_killed_at_any_moment_leaves_whole_campaigns_only(tmp_path: Path) -> None:
    library = tmp_path / "library"
    for turn in range(6):
        ready = tmp_path / f"ready-{turn}"
        worker = spawn.Process(target=write_without_end, args=(str(library), str(ready)))
        worker.start()
        while not ready.exists():
            assert worker.is_alive()
            time.sleep(0.005)
        time.sleep(0.013 * turn)
        assert worker.pid is not None
        os.kill(worker.pid, signal.SIGKILL)
        worker.join()
        assert complete_campaigns(library) >= turn + 1
    # What the killed ones left is no fit, and is cleared away after a day.
    for entry in (library / durable.INCOMING).iterdir():
        os.utime(entry, (0, 0))
    write_fits(str(library), 1, 1)
    assert list((library / durable.INCOMING).iterdir()) == []


def test_a_commit_that_was_cut_before_its_last_step_is_finished_by_the_next_reader(tmp_path: Path) -> None:
    saved = store.save_fit(tmp_path, make_result())
    entry = tmp_path / durable.PENDING / "1-0"
    for fit in saved:
        (entry / fit.motor).mkdir(parents=True)
        fit.path.rename(entry / fit.motor / fit.path.name)
    assert store.load_fit(tmp_path, saved[1].motor).fit_id == saved[1].fit_id
    assert list((tmp_path / durable.PENDING).iterdir()) == []
    assert complete_campaigns(tmp_path) == 1


def test_a_failure_inside_a_transaction_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="disk full"), durable.transaction(tmp_path) as work:
        (work / "alder-2207").mkdir()
        (work / "alder-2207" / "half").write_bytes(b"half")
        raise OSError("disk full")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
