"""What the routes share: settings, fits, threads, tokens, jobs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, cast

from fastapi import Depends, Request

from .cores import Pool
from .settings import Settings
from .shelf import Shelf


@dataclass(frozen=True)
class Service:
    """One process's view of the service."""

    settings: Settings
    shelf: Shelf
    pool: Pool


async def _service(request: Request) -> Service:
    return cast(Service, request.app.state.service)


Here = Annotated[Service, Depends(_service)]
