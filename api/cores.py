"""Computing beside the event loop: as many threads as cores, and a queue that does not grow without end."""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import ParamSpec, TypeVar

from .problems import RefusalError

P = ParamSpec("P")
R = TypeVar("R")


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Pool:
    """Threads for questions; beyond so many waiting ones, the next is told to come back."""

    def __init__(self, waiting: int, threads: int | None = None) -> None:
        self._threads = threads or max(cores(), 2)
        self._most = self._threads + waiting
        self._pool: ThreadPoolExecutor | None = None
        self.inside = 0

    async def run(self, call: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
        """Return what a call returns, computed in a thread.

        Raises
        ------
        RefusalError
            503, too many are waiting.
        """
        if self.inside >= self._most:
            raise RefusalError(
                503, "Too many questions are waiting. Ask again in a second.", {"Retry-After": "1"}
            )
        if self._pool is None:
            self._pool = ThreadPoolExecutor(self._threads, thread_name_prefix="question")
        self.inside += 1
        future = self._pool.submit(partial(call, *args, **kwargs))
        # Counted until it has run, also where the caller has gone: a thread cannot be stopped.
        future.add_done_callback(partial(self._left, asyncio.get_running_loop()))
        return await asyncio.wrap_future(future)

    def _left(self, loop: asyncio.AbstractEventLoop, future: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has been closed meanwhile
            loop.call_soon_threadsafe(self._one_less)

    def _one_less(self) -> None:
        self.inside -= 1

    def close(self) -> None:
        """Let running calls end, and take no more."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None
