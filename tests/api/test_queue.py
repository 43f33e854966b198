"""The queue: nothing acknowledged is lost, nothing is done twice at once, nothing is tried for ever."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from motorfit_api.jobs import STARTS, Job, Queue, QueueFullError, new_id


@pytest.fixture
def queue(tmp_path: Path) -> Queue:
    return Queue(tmp_path / "state")


def _add(queue: Queue, *, key: str | None = None, most: int = 10) -> Job:
    return queue.add(new_id(), "fit", "local", {"seed": 1}, "f", key, most)


def test_jobs_are_taken_in_order_and_once(queue: Queue) -> None:
    added = [_add(queue).id for _ in range(8)]
    taken: list[str] = []

    def take(name: str) -> None:
        while (job := queue.claim(name, 60.0)) is not None:
            taken.append(job.id)

    threads = [threading.Thread(target=take, args=(f"w{i}",)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == sorted(added)
    assert queue.counts()["running"] == 8


def test_a_lost_job_is_tried_once_more_and_then_reported(queue: Queue) -> None:
    job = _add(queue).id
    assert queue.claim("first", 0.05) is not None
    assert queue.claim("second", 0.05) is None
    time.sleep(0.1)
    again = queue.claim("second", 0.05)
    assert again is not None
    assert (again.id, again.attempts) == (job, 2)
    assert queue.renew(job, "first", 1.0) == "lost"
    assert not queue.end(job, "first", "done", {})
    time.sleep(0.1)
    assert queue.claim("third", 1.0) is None
    found = queue.get(job)
    assert found is not None
    assert found.state == "failed"
    assert found.problem is not None
    assert "tried 2 times" in found.problem["detail"]


def test_a_killed_worker_gives_its_job_back_at_its_return(queue: Queue) -> None:
    job = _add(queue).id
    for attempt in (1, 2):
        taken = queue.claim("w", 600.0)
        assert taken is not None
        assert taken.attempts == attempt
        queue.give_back("w", "its process was killed (SIGKILL)")
    found = queue.get(job)
    assert found is not None
    assert found.state == "failed"
    assert found.problem is not None
    assert "SIGKILL" in found.problem["detail"]


def test_a_stop_in_good_order_is_no_attempt(queue: Queue) -> None:
    _add(queue)
    for _ in range(5):
        assert queue.claim("w", 600.0) is not None
        queue.give_back("w", "the service was stopped", counts=False)
    assert queue.counts()["queued"] == 1


def test_a_job_that_takes_the_service_down_is_not_started_for_ever(queue: Queue) -> None:
    job = _add(queue).id
    for _ in range(STARTS):
        assert queue.claim("w", 600.0) is not None
        queue.give_back("w", "the service was killed", counts=False)
    assert queue.claim("w", 600.0) is None
    found = queue.get(job)
    assert found is not None
    assert found.state == "failed"


def test_a_key_makes_one_job(queue: Queue) -> None:
    first = _add(queue, key="k")
    made: list[str] = []
    threads = [threading.Thread(target=lambda: made.append(_add(queue, key="k").id)) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(made) == {first.id}
    assert queue.add(new_id(), "fit", "token:other", {}, "f", "k", 10).id != first.id


def test_a_full_queue_refuses(queue: Queue) -> None:
    first = _add(queue, key="k", most=1)
    with pytest.raises(QueueFullError):
        _add(queue, most=1)
    assert _add(queue, key="k", most=1).id == first.id


def test_cancelling_ends_what_waits_and_tells_who_works(queue: Queue) -> None:
    running, waiting = _add(queue).id, _add(queue).id
    assert queue.claim("w", 60.0) is not None
    cancelled = queue.cancel(waiting)
    assert cancelled is not None
    assert cancelled.state == "cancelled"
    queue.cancel(running)
    assert queue.renew(running, "w", 60.0) == "cancel"
    assert queue.end(running, "w", "cancelled")
    assert queue.claim("w", 60.0) is None


def test_events_are_numbered_and_can_be_read_on(queue: Queue) -> None:
    job = _add(queue).id
    queue.claim("w", 60.0)
    queue.progress(job, "w", "drawing", 0.5)
    queue.end(job, "w", "done", {"fits": []})
    events = queue.events(job, 0)
    assert [(e.number, e.name) for e in events] == [(1, "state"), (2, "state"), (3, "progress"), (4, "state")]
    assert queue.events(job, 2) == events[2:]
    assert queue.forget(time.time() + 1.0) == (job,)
    assert queue.get(job) is None
    assert queue.events(job, 0) == ()


def test_what_was_acknowledged_is_synced(queue: Queue, monkeypatch: pytest.MonkeyPatch) -> None:
    """The setting, since a test cannot cut the power."""
    _add(queue)
    with queue._open() as base:
        assert base.execute("PRAGMA synchronous").fetchone()[0] == 2
        assert base.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
