"""What the routes share: settings, fits, threads, tokens, jobs."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Annotated, cast

from fastapi import Depends, Request

from .cores import Pool
from .jobs import Queue
from .kept import Kept
from .settings import Settings
from .shelf import Shelf
from .uploads import Uploads


@dataclass
class Streams:
    """How many readers follow events here, and whether the process is about to end."""

    open: int = 0
    closing: bool = False


@dataclass
class Readiness:
    """Whether questions are answered without delay; a process that compiles or loads code first is not."""

    ready: bool = True

    async def wait(self) -> None:
        """Return once it is."""
        while not self.ready:
            await asyncio.sleep(0.05)


@dataclass(frozen=True)
class Service:
    """One process's view of the service."""

    settings: Settings
    shelf: Shelf
    pool: Pool
    queue: Queue
    uploads: Uploads
    kept: Kept
    streams: Streams = field(default_factory=Streams)
    readiness: Readiness = field(default_factory=Readiness)


async def _service(request: Request) -> Service:
    return cast(Service, request.app.state.service)


Here = Annotated[Service, Depends(_service)]
