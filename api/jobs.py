"""The queue on disk: jobs, their events, and who works on them. Several processes share it.

SQLite in WAL mode with full synchronisation: what has been acknowledged survives a crash and a power cut. A
worker holds a job by a lease that it renews; one that stops renewing has lost it, and the job is tried once
more.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
import weakref
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Literal

from motorfit.archive.space import is_full

from . import database
from .job import (
    ATTEMPTS,
    ENDED,
    STARTS,
    STATES,
    Event,
    Job,
    QueueError,
    QueueFullError,
    State,
    job_of_row,
    new_id,
    worker_lost,
)

__all__ = [
    "ATTEMPTS",
    "ENDED",
    "STARTS",
    "STATES",
    "Event",
    "Job",
    "Queue",
    "QueueError",
    "QueueFullError",
    "new_id",
]

NAME = "jobs.sqlite"
_SCHEMA = """
PRAGMA journal_mode = WAL;
CREATE TABLE IF NOT EXISTS jobs (
    id TEXT PRIMARY KEY, kind TEXT NOT NULL, state TEXT NOT NULL, caller TEXT NOT NULL, key TEXT,
    fingerprint TEXT NOT NULL, options TEXT NOT NULL, created REAL NOT NULL, started REAL, finished REAL,
    attempts INTEGER NOT NULL DEFAULT 0, worker TEXT, lease REAL, cancel INTEGER NOT NULL DEFAULT 0,
    stage TEXT NOT NULL DEFAULT '', share REAL NOT NULL DEFAULT 0, result TEXT, problem TEXT
);
CREATE UNIQUE INDEX IF NOT EXISTS keys ON jobs (caller, kind, key) WHERE key IS NOT NULL;
CREATE INDEX IF NOT EXISTS waiting ON jobs (state, created);
CREATE TABLE IF NOT EXISTS events (
    job TEXT NOT NULL, number INTEGER NOT NULL, name TEXT NOT NULL, data TEXT NOT NULL,
    PRIMARY KEY (job, number)
) WITHOUT ROWID;
"""


class Queue:
    """The jobs of one service."""

    def __init__(self, state: Path) -> None:
        self.path = state / NAME
        self._held: sqlite3.Connection | None = None
        self._lock = threading.Lock()

    def add(self, job: str, kind: str, caller: str, options: Mapping[str, Any], fingerprint: str,
            key: str | None, most: int) -> Job:  # fmt: skip
        """Add a job, or return the one that the same key already made.

        The caller may take it as kept once this returns.

        Raises
        ------
        QueueFullError
            ``most`` jobs are waiting.
        """
        with self._writing(make=True) as base:
            if key is not None:
                row = base.execute(
                    "SELECT id FROM jobs WHERE caller = ? AND kind = ? AND key = ?", (caller, kind, key)
                ).fetchone()
                if row is not None:
                    return _job(base, row[0])
            (waiting,) = base.execute("SELECT count(*) FROM jobs WHERE state = 'queued'").fetchone()
            if waiting >= most:
                raise QueueFullError(f"{waiting} jobs are waiting, the most there may be. Come back later.")
            base.execute(
                "INSERT INTO jobs (id, kind, state, caller, key, fingerprint, options, created) "
                "VALUES (?, ?, 'queued', ?, ?, ?, ?, ?)",
                (job, kind, caller, key, fingerprint, json.dumps(dict(options)), time.time()),
            )
            _tell(base, job, "state", {"state": "queued"})
            return _job(base, job)

    def get(self, job: str) -> Job | None:
        """Return a job, or None."""
        with self._reading() as base:
            return None if base is None else _find(base, job)

    def known(self, caller: str, kind: str, key: str) -> Job | None:
        """Return the job that a key made, or None."""
        with self._reading() as base:
            if base is None:
                return None
            row = base.execute(
                "SELECT id FROM jobs WHERE caller = ? AND kind = ? AND key = ?", (caller, kind, key)
            ).fetchone()
            return None if row is None else _find(base, row[0])

    def list(self, offset: int, limit: int) -> tuple[tuple[Job, ...], int]:
        """Return jobs, newest first, and how many there are."""
        with self._reading() as base:
            if base is None:
                return (), 0
            (total,) = base.execute("SELECT count(*) FROM jobs").fetchone()
            rows = base.execute(
                "SELECT * FROM jobs ORDER BY created DESC, id DESC LIMIT ? OFFSET ?", (limit, offset)
            )
            return tuple(job_of_row(row) for row in rows), int(total)

    def counts(self) -> dict[str, int]:
        """Return how many jobs are in each state."""
        counted = dict.fromkeys(STATES, 0)
        with self._reading() as base:
            if base is not None:
                rows = base.execute("SELECT state, count(*) FROM jobs GROUP BY state")
                counted.update({row[0]: row[1] for row in rows})
        return {str(state): number for state, number in counted.items()}

    def events(self, job: str, after: int) -> tuple[Event, ...]:
        """Return what happened to a job after an event's number."""
        with self._reading() as base:
            if base is None:
                return ()
            rows = base.execute(
                "SELECT number, name, data FROM events WHERE job = ? AND number > ? ORDER BY number",
                (job, after),
            )
            return tuple(Event(*row) for row in rows)

    def cancel(self, job: str) -> Job | None:
        """Cancel a job that has not ended; one that runs is stopped by its worker."""
        with self._writing() as base:
            found = _find(base, job)
            if found is None or found.state in ENDED:
                return found
            base.execute("UPDATE jobs SET cancel = 1 WHERE id = ?", (job,))
            if found.state == "queued":
                _end(base, job, "cancelled", None, None)
            return _job(base, job)

    def claim(self, worker: str, lease: float) -> Job | None:
        """Take the oldest job that waits, or that its worker has lost; None where there is none."""
        if not self.waiting():
            return None
        with self._writing() as base:
            now = time.time()
            while True:
                row = base.execute(
                    "SELECT * FROM jobs WHERE state = 'queued' OR (state = 'running' AND lease < ?) "
                    "ORDER BY created, id LIMIT 1",
                    (now,),
                ).fetchone()
                if row is None:
                    return None
                job = job_of_row(row)
                if job.cancel:
                    _end(base, job.id, "cancelled", None, None)
                    continue
                if job.attempts >= ATTEMPTS:
                    _end(base, job.id, "failed", None, worker_lost())
                    continue
                base.execute(
                    "UPDATE jobs SET state = 'running', worker = ?, lease = ?, attempts = attempts + 1, "
                    "started = coalesce(started, ?), stage = 'starting', share = 0 WHERE id = ?",
                    (worker, now + lease, now, job.id),
                )
                _tell(base, job.id, "state", {"state": "running", "attempt": job.attempts + 1})
                return _job(base, job.id)

    def renew(self, job: str, worker: str, lease: float) -> Literal["go on", "cancel", "lost"]:
        """Renew a lease; says whether the worker should go on."""
        with self._writing() as base:
            mine = base.execute(
                "UPDATE jobs SET lease = ? WHERE id = ? AND worker = ? AND state = 'running'",
                (time.time() + lease, job, worker),
            ).rowcount
            if not mine:
                return "lost"
            return "cancel" if _job(base, job).cancel else "go on"

    def progress(self, job: str, worker: str, stage: str, share: float) -> None:
        """Tell how far a job is."""
        with self._writing() as base:
            mine = base.execute(
                "UPDATE jobs SET stage = ?, share = ? WHERE id = ? AND worker = ? AND state = 'running'",
                (stage, share, job, worker),
            ).rowcount
            if mine:
                _tell(base, job, "progress", {"stage": stage, "progress": share})

    def end(self, job: str, worker: str, state: State, result: Mapping[str, Any] | None = None,
            problem: Mapping[str, Any] | None = None) -> bool:  # fmt: skip
        """End a job that the worker still holds; False where it has lost it."""
        with self._writing() as base:
            if not _holds(base, job, worker):
                return False
            _end(base, job, state, result, problem)
            return True

    def give_back(self, worker: str, why: str, *, counts: bool = True) -> None:
        """Put back the job of a worker that died, or whose process did. The second time it fails.

        ``worker`` is one process, or a name without ``#``: then whichever process had it. Where it is not the
        job's doing (the whole service was stopped or killed), the attempt does not count; but a job that
        takes the machine down with it is not started for ever.
        """
        if not self.path.is_file():
            return
        with self._writing() as base:
            rows = base.execute(
                "SELECT * FROM jobs WHERE state = 'running' AND (worker = ? OR "
                "substr(worker, 1, length(?) + 1) = ? || '#')",
                (worker, worker, worker),
            ).fetchall()
            for row in rows:
                job = job_of_row(row)
                (starts,) = base.execute(
                    "SELECT count(*) FROM events WHERE job = ? AND name = 'state' AND data LIKE '%running%'",
                    (job.id,),
                ).fetchone()
                if starts >= STARTS or (counts and job.attempts >= ATTEMPTS):
                    _end(base, job.id, "failed", None, worker_lost(why, starts))
                else:
                    base.execute(
                        "UPDATE jobs SET state = 'queued', worker = NULL, attempts = ? WHERE id = ?",
                        (job.attempts if counts else job.attempts - 1, job.id),
                    )
                    _tell(base, job.id, "state", {"state": "queued", "why": why})

    def forget(self, before: float) -> tuple[str, ...]:
        """Remove jobs that ended before a time; returns their ids."""
        if not self.path.is_file():
            return ()
        with self._writing() as base:
            rows = base.execute("SELECT id FROM jobs WHERE finished < ?", (before,)).fetchall()
            ids = tuple(row[0] for row in rows)
            base.executemany("DELETE FROM events WHERE job = ?", [(id,) for id in ids])
            base.executemany("DELETE FROM jobs WHERE id = ?", [(id,) for id in ids])
            return ids

    def waiting(self) -> bool:
        """Return whether there is a job to take."""
        with self._reading() as base:
            return base is not None and (
                base.execute(
                    "SELECT 1 FROM jobs WHERE state = 'queued' OR (state = 'running' AND lease < ?) LIMIT 1",
                    (time.time(),),
                ).fetchone()
                is not None
            )

    def _hold(self) -> None:
        """Keep one connection open that is never used.

        With the last one the database's shared memory goes, which has to be made anew by the next, also where
        that only reads: on a full disk it could not. And each time the log would be folded into the file.
        """
        with self._lock:
            if self._held is None:
                held = sqlite3.connect(self.path, timeout=20.0, check_same_thread=False)
                weakref.finalize(self, held.close)
                held.execute("SELECT count(*) FROM jobs").fetchone()
                self._held = held

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection | None]:
        if not self.path.is_file():
            yield None
            return
        with self._open() as base:
            yield base

    @contextmanager
    def _writing(self, *, make: bool = False) -> Iterator[sqlite3.Connection]:
        with self._open(make=make) as base:
            base.execute("BEGIN IMMEDIATE")
            try:
                yield base
            except BaseException:
                base.execute("ROLLBACK")
                raise
            base.execute("COMMIT")

    @contextmanager
    def _open(self, *, make: bool = False) -> Iterator[sqlite3.Connection]:
        try:
            if make:
                database.made(self.path, _SCHEMA)
            with closing(sqlite3.connect(self.path, timeout=20.0, isolation_level=None)) as base:
                base.row_factory = sqlite3.Row
                base.execute("PRAGMA synchronous = FULL")
                self._hold()
                yield base
        except (OSError, sqlite3.Error) as error:
            failed = QueueError(
                f"{self.path}: the queue cannot be used: {error}. Check free space and access."
            )
            failed.full = is_full(error, self.path)
            raise failed from error


def _holds(base: sqlite3.Connection, job: str, worker: str) -> bool:
    row = base.execute(
        "SELECT 1 FROM jobs WHERE id = ? AND worker = ? AND state = 'running'", (job, worker)
    ).fetchone()
    return row is not None


def _end(base: sqlite3.Connection, job: str, state: State, result: Mapping[str, Any] | None,
         problem: Mapping[str, Any] | None) -> None:  # fmt: skip
    base.execute(
        "UPDATE jobs SET state = ?, finished = ?, lease = NULL, result = ?, problem = ?, "
        "share = CASE ? WHEN 'done' THEN 1.0 ELSE share END WHERE id = ?",
        (state, time.time(), _text(result), _text(problem), state, job),
    )
    _tell(base, job, "state", {"state": state})


def _tell(base: sqlite3.Connection, job: str, name: str, data: Mapping[str, Any]) -> None:
    base.execute(
        "INSERT INTO events SELECT ?, coalesce(max(number), 0) + 1, ?, ? FROM events WHERE job = ?",
        (job, name, json.dumps(data), job),
    )


def _text(value: Mapping[str, Any] | None) -> str | None:
    return None if value is None else json.dumps(value, allow_nan=False)


def _find(base: sqlite3.Connection, job: str) -> Job | None:
    row = base.execute("SELECT * FROM jobs WHERE id = ?", (job,)).fetchone()
    return None if row is None else job_of_row(row)


def _job(base: sqlite3.Connection, job: str) -> Job:
    return job_of_row(base.execute("SELECT * FROM jobs WHERE id = ?", (job,)).fetchone())
