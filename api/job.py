"""A job of the queue as a value, and what becomes of it."""

from __future__ import annotations

import json
import secrets
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from motorfit.errors import MotorfitError

from .database import StateError

ATTEMPTS = 2
STARTS = 10
"""Attempts in all, those among them that a stop or a crash of the whole service cut short."""
State = Literal["queued", "running", "done", "failed", "cancelled"]
STATES: tuple[State, ...] = ("queued", "running", "done", "failed", "cancelled")
ENDED = frozenset({"done", "failed", "cancelled"})


class QueueError(StateError):
    """The queue on disk cannot be used."""


class QueueFullError(MotorfitError):
    """As many jobs wait as may wait."""


@dataclass(frozen=True)
class Job:
    """One job as the queue holds it; times in seconds since 1970."""

    id: str
    kind: str
    state: State
    fingerprint: str
    options: dict[str, Any]
    created: float
    started: float | None
    finished: float | None
    attempts: int
    cancel: bool
    stage: str
    share: float
    result: dict[str, Any] | None
    problem: dict[str, Any] | None

    def to_json(self) -> dict[str, Any]:
        """Return what a caller sees."""
        return {
            "job": self.id,
            "kind": self.kind,
            "state": self.state,
            "cancelling": self.cancel and self.state not in ENDED,
            "stage": self.stage,
            "progress": self.share,
            "attempts": self.attempts,
            "created": _iso(self.created),
            "started": _iso(self.started),
            "finished": _iso(self.finished),
            "options": self.options,
            "result": self.result,
            "problem": self.problem,
        }


@dataclass(frozen=True)
class Event:
    """Something that happened to a job; numbers rise from 1."""

    number: int
    name: str
    data: str


def new_id() -> str:
    """Return an id that cannot be guessed and sorts by time."""
    return f"{datetime.now(UTC):%Y%m%dT%H%M%S}-{secrets.token_hex(12)}"


def worker_lost(
    why: str = "its worker was killed or the machine stopped", times: int = ATTEMPTS
) -> dict[str, Any]:
    """Return the problem of a job that was tried as often as a job is tried."""
    return {
        "title": "Worker lost",
        "status": 500,
        "detail": f"The job was tried {times} times and did not come to an end: {why}.",
    }


def no_space() -> dict[str, Any]:
    """Return the problem of a job that the disk had no room for."""
    return {
        "title": "Insufficient Storage",
        "status": 507,
        "detail": "The service's disk became full while the job ran; nothing of it was stored. Once its "
        "owner has made room, send the upload again.",
    }


def job_of_row(row: sqlite3.Row) -> Job:
    """Return a job from its row."""
    fields = {name: row[name] for name in Job.__dataclass_fields__}
    for name in ("options", "result", "problem"):
        fields[name] = None if fields[name] is None else json.loads(fields[name])
    return Job(**(fields | {"cancel": bool(fields["cancel"])}))


def _iso(moment: float | None) -> str | None:
    if moment is None:
        return None
    return datetime.fromtimestamp(moment, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
