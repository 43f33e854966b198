"""The processes of one service: servers that share a socket, and workers; each is replaced if it dies.

Every process gets a pipe as its standard input and ends when the pipe closes, so none outlives this one,
however it ends.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

_CHECK_S = 0.2
_CALM_S = 5.0
_LONGEST_PAUSE_S = 10.0
_GRACE_S = 8.0


@dataclass
class Member:
    """One process and how to start it again."""

    name: str
    command: Sequence[str]
    sockets: tuple[int, ...] = ()
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    pause: float = 0.0
    not_before: float = 0.0


@dataclass
class Supervisor:
    """Keeps members running until told to stop.

    ``environment`` is added to this process's own.
    """

    environment: Mapping[str, str]
    members: list[Member] = field(default_factory=list)
    stopping: bool = False

    def add(self, name: str, module: str, *arguments: str, sockets: tuple[int, ...] = ()) -> None:
        """Add a member: ``python -m module arguments``; sockets are handed down by their numbers."""
        self.members.append(Member(name, (sys.executable, "-m", module, *arguments), sockets))

    def run(self) -> None:
        """Start all members and replace those that die, until SIGINT or SIGTERM."""
        handlers = {number: signal.signal(number, self._stop) for number in (signal.SIGINT, signal.SIGTERM)}
        try:
            while not self.stopping:
                for member in self.members:
                    self._tend(member)
                time.sleep(_CHECK_S)
        finally:
            self.end()
            for number, handler in handlers.items():
                signal.signal(number, handler)

    def end(self) -> None:
        """Ask all members to end, and end those that do not."""
        running = [m.process for m in self.members if m.process is not None and m.process.poll() is None]
        for process in running:
            # By signal, for an end in good order: a pipe that closes means that this process has died.
            process.terminate()
        horizon = time.monotonic() + _GRACE_S
        for process in running:
            try:
                process.wait(max(0.0, horizon - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            if process.stdin is not None:
                process.stdin.close()

    def _tend(self, member: Member) -> None:
        now = time.monotonic()
        if member.process is not None:
            if member.process.poll() is None:
                return
            self._mourn(member.process)
            member.process = None
            # One that dies at once is not started again and again without a breath.
            quick = now - member.started < _CALM_S
            member.pause = min(max(2.0 * member.pause, 0.2), _LONGEST_PAUSE_S) if quick else 0.0
            member.not_before = now + member.pause
        if now < member.not_before:
            return
        member.started = now
        member.process = subprocess.Popen(
            member.command,
            stdin=subprocess.PIPE,
            env={**os.environ, **self.environment},
            pass_fds=member.sockets,
            # A Ctrl+C in the terminal is for this process alone, which then ends the others in order.
            start_new_session=True,
        )

    def _mourn(self, process: subprocess.Popen[bytes]) -> None:
        if process.stdin is not None:
            process.stdin.close()
        if self.environment.get("PROMETHEUS_MULTIPROC_DIR"):
            os.environ["PROMETHEUS_MULTIPROC_DIR"] = self.environment["PROMETHEUS_MULTIPROC_DIR"]
            from prometheus_client.multiprocess import mark_process_dead

            mark_process_dead(process.pid)  # type: ignore[no-untyped-call]

    def _stop(self, number: int, frame: object) -> None:
        self.stopping = True
