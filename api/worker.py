"""A worker: takes jobs from the queue and has each done by a process of its own.

That process parses what was uploaded, under limits of memory and time; when it dies, this one lives and says
why. Started as ``python -m motorfit_api.worker NAME``; ends when its standard input closes, so that it never
outlives who started it.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import queue as queues
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import IO, Any

from motorfit.archive.space import NO_SPACE, free_bytes

from . import logs
from .database import StateError
from .job import no_space
from .jobs import ENDED, Job, Queue
from .settings import Settings
from .uploads import Uploads

CHILD = "motorfit.cli.job"
_POLL_S = 0.2
_BREATH_S = 5.0
_TELL_S = 0.5
_CLEAN_S = 3600.0
_UPLOADS_KEPT_S = 24 * 3600.0
_LOG = logging.getLogger(logs.NAME)


class Worker:
    """Works until told to stop."""

    def __init__(self, settings: Settings, name: str) -> None:
        self.settings = settings
        self._place = name
        # A process that was thought dead must not speak for its successor.
        self.name = f"{name}#{os.getpid()}"
        self.queue = Queue(settings.state)
        self.uploads = Uploads(settings.state)
        self.stopping = threading.Event()
        self._cleaned: float | None = None

    def run(self) -> None:
        """Take and do jobs, one at a time."""
        # A predecessor of the same name is dead: its job need not wait for the lease to end.
        owed: tuple[str, bool] | None = ("its worker was killed", True)
        while not self.stopping.is_set():
            try:
                if owed is not None:
                    why, counts = owed
                    self.queue.give_back(self._place, why, counts=counts)
                    owed = None
                if not self._step():
                    self.stopping.wait(_POLL_S)
            except (OSError, StateError) as error:
                # A full disk, as a rule. No fault of the job, and none that another process would be rid of.
                _LOG.error("storage", extra={"error": str(error), "again_in_s": _BREATH_S})
                owed = owed or ("the disk of the service could not be written", False)
                self.stopping.wait(_BREATH_S)

    def _step(self) -> bool:
        """Do a job; False where there is none, or no room to do it in."""
        now = time.monotonic()
        if self._cleaned is None or now - self._cleaned > _CLEAN_S:
            self._cleaned = now
            self._clean()
        if not self.queue.waiting():
            return False
        limits = self.settings.limits
        free = free_bytes(self.settings.state, self.settings.library)
        if free < limits.free_bytes:
            _LOG.warning("no space", extra={"free_bytes": free, "needed_bytes": limits.free_bytes})
            self.stopping.wait(_BREATH_S)
            return False
        job = self.queue.claim(self.name, limits.lease_seconds)
        if job is not None:
            self._do(job)
        return job is not None

    def _do(self, job: Job) -> None:
        folder = self.uploads.folder(job.id)
        _LOG.info("job", extra={"job": job.id, "kind": job.kind, "attempt": job.attempts})
        for old in ("result.json", "problem.json"):
            (folder / old).unlink(missing_ok=True)
        self._order(folder, job)
        with (
            (folder / "stderr.txt").open("wb") as told,
            subprocess.Popen(
                [sys.executable, "-m", CHILD, str(folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=told,
                start_new_session=True,
            ) as child,
        ):
            try:
                verdict = self._watch(job, child)
            finally:
                _kill(child)
        self._settle(job, folder, child.returncode, verdict)

    def _order(self, folder: Path, job: Job) -> None:
        limits = self.settings.limits
        order = {
            "job": job.id,
            "kind": job.kind,
            "library": str(self.settings.library.resolve()),
            "options": job.options,
            "attempt": sum(e.name == "state" and "running" in e.data for e in self.queue.events(job.id, 0)),
            "created": job.created,
            "limits": {
                "memory_bytes": limits.job_bytes,
                "unpacked_bytes": limits.unpacked_bytes,
                "files": limits.files,
                "rows": limits.rows,
                "runs": limits.runs,
            },
        }
        (folder / "order.json").write_text(json.dumps(order), encoding="utf-8")

    def _watch(self, job: Job, child: subprocess.Popen[bytes]) -> str:
        """Pass progress on and renew the lease until the process ends or must be ended."""
        lines: queues.Queue[str | None] = queues.Queue(1000)
        threading.Thread(target=_read, args=(child.stdout, lines), daemon=True).start()
        lease = self.settings.limits.lease_seconds
        begun = renewed = time.monotonic()
        told, stage = 0.0, ""
        latest: tuple[str, float] | None = None
        while True:
            now = time.monotonic()
            try:
                line = lines.get(timeout=_POLL_S)
            except queues.Empty:
                line = ""
            if line is None:
                return "ended"
            latest = _progress(line) or latest
            if latest is not None and (latest[0] != stage or now - told > _TELL_S):
                # On a full disk nothing can be told; the work itself goes on.
                with contextlib.suppress(StateError):
                    self.queue.progress(job.id, self.name, *latest)
                stage, told, latest = latest[0], now, None
            if self.stopping.is_set():
                return "stopped"
            if now - begun > self.settings.limits.job_seconds:
                return "late"
            # Often enough to notice a cancellation soon, and well within the lease.
            if now - renewed > min(0.5, lease / 3.0):
                renewed = now
                try:
                    word = self.queue.renew(job.id, self.name, lease)
                except StateError:
                    continue  # nor could another worker take the job: that is written in the same place
                if word != "go on":
                    return word

    def _settle(self, job: Job, folder: Path, code: int, verdict: str) -> None:
        """Write down how a job ended."""
        result, problem = _read_json(folder / "result.json"), _read_json(folder / "problem.json")
        ended = True
        if verdict == "lost":
            return
        if result is not None:
            # Also where it was to be cancelled: the fit is stored, and that is what is to be said.
            self.queue.end(job.id, self.name, "done", result)
        elif verdict == "cancel":
            self.queue.end(job.id, self.name, "cancelled")
        elif problem is not None:
            self.queue.end(job.id, self.name, "failed", None, problem)
        elif code == NO_SPACE:
            # First what it had unpacked, so that there is room to say so.
            self.uploads.spend(job.id, keep_upload=True)
            self.queue.end(job.id, self.name, "failed", None, no_space())
        elif verdict == "late":
            most = self.settings.limits.job_seconds
            told = {
                "title": "Took too long",
                "status": 422,
                "detail": f"The job was stopped after {most:g} s.",
            }
            self.queue.end(job.id, self.name, "failed", None, told)
        else:
            why = "the service was stopped" if verdict == "stopped" else _why(code)
            tail = _tail(folder / "stderr.txt")
            _LOG.error("job lost", extra={"job": job.id, "why": why, "code": code, "stderr": tail})
            self.queue.give_back(self.name, why, counts=verdict != "stopped")
            now = self.queue.get(job.id)
            ended = now is not None and now.state in ENDED
        if ended:
            self.uploads.spend(job.id, keep_upload=job.kind == "check")

    def _clean(self) -> None:
        now = time.time()
        for id in self.queue.forget(now - 86400.0 * self.settings.limits.keep_days):
            self.uploads.discard(id)
        if not self.uploads.root.is_dir():
            return
        known = []
        for folder in list(self.uploads.root.iterdir()):
            job = self.queue.get(folder.name)
            if job is None:
                continue
            known.append(folder.name)
            if job.finished is not None and now - job.finished > _UPLOADS_KEPT_S:
                self.uploads.spend(job.id, keep_upload=False)
        self.uploads.sweep(known)


def _read(stream: IO[bytes] | None, lines: queues.Queue[str | None]) -> None:
    for line in stream or ():
        lines.put(line.decode("utf-8", "replace"))
    lines.put(None)


def _progress(line: str) -> tuple[str, float] | None:
    try:
        told = json.loads(line)
        return str(told["stage"])[:100], min(max(float(told["share"]), 0.0), 1.0)
    except (ValueError, TypeError, KeyError):
        return None


def _kill(child: subprocess.Popen[bytes]) -> None:
    if child.stdin is not None:
        child.stdin.close()
    if child.poll() is None:
        try:
            child.wait(0.05)
        except subprocess.TimeoutExpired:
            child.kill()
    child.wait()


def _why(code: int) -> str:
    if code < 0:
        name = signal.Signals(-code).name if -code in set(signal.Signals) else str(-code)
        return f"the process that worked on it was killed ({name}), as the system does when memory runs out"
    return f"the process that worked on it broke off with code {code}"


def _tail(path: Path) -> str:
    try:
        return path.read_bytes()[-2000:].decode("utf-8", "replace")
    except OSError:
        return ""


def _read_json(path: Path) -> dict[str, Any] | None:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def main() -> None:
    """Run one worker with the settings of the environment."""
    logs.set_up()
    worker = Worker(
        Settings.from_environment(), sys.argv[1] if len(sys.argv) > 1 else f"worker-{os.getpid()}"
    )

    def leave(*_: object) -> None:
        worker.stopping.set()

    def until_closed() -> None:
        # Not by the buffered stream: its lock would be held when this process comes to its own end.
        while os.read(0, 4096):
            pass
        worker.stopping.set()

    signal.signal(signal.SIGTERM, leave)
    signal.signal(signal.SIGINT, leave)
    if not sys.stdin.isatty():
        threading.Thread(target=until_closed, daemon=True).start()
    worker.run()


if __name__ == "__main__":
    main()
