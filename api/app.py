"""The application: routes over one library. No number is computed here."""

from __future__ import annotations

import gc
import logging
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import Depends, FastAPI

import motorfit
from motorfit.answers.warm import warm

from . import (
    document,
    logs,
    problems,
    routes_beliefs,
    routes_compare,
    routes_health,
    routes_jobs,
    routes_library,
    routes_page,
    routes_questions,
)
from .access import Access
from .body import BodyLimit
from .cores import Pool
from .jobs import Queue
from .kept import Kept
from .metrics import Metrics
from .observe import Observe
from .service import Readiness, Service
from .settings import Settings
from .shelf import Shelf
from .strict import only_known
from .tokens import TokenStore
from .uploads import Uploads


def create_app(where: Settings | Path) -> FastAPI:
    """Return the service over a library, which need not exist yet."""
    settings = where if isinstance(where, Settings) else Settings.of(where)
    service = Service(
        settings,
        Shelf(settings.library, settings.limits.fits_bytes),
        Pool(settings.limits.waiting),
        Queue(settings.state),
        Uploads(settings.state),
        Kept(settings.limits.kept_bytes),
    )
    metrics = Metrics(service.queue.counts)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        service.streams.closing = False
        yield
        service.streams.closing = True
        service.pool.close()

    app = FastAPI(
        title="motorfit",
        version=motorfit.__version__,
        description=document.DESCRIPTION,
        openapi_url="/v1/openapi.json",
        # The pages that would show it fetch scripts from elsewhere; this service works offline.
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        dependencies=[Depends(only_known)],
        lifespan=lifespan,
    )
    app.state.service = service
    app.state.metrics = metrics
    problems.install(app)
    for part in (
        routes_library,
        routes_beliefs,
        routes_questions,
        routes_compare,
        routes_jobs,
        routes_health,
        routes_page,
    ):
        app.include_router(part.router)
    document.complete(app)
    app.add_middleware(BodyLimit, limits=settings.limits)
    app.add_middleware(Access, settings=settings, tokens=TokenStore(settings.state))
    app.add_middleware(Observe, metrics=metrics)
    return app


def from_environment() -> FastAPI:
    """Return the service that the environment describes, for a process that serves."""
    app = create_app(Settings.from_environment())
    readiness: Readiness = app.state.service.readiness
    readiness.ready = False
    threading.Thread(target=_get_ready, args=(readiness,), daemon=True).start()
    return app


def _get_ready(readiness: Readiness) -> None:
    """Bring compiled code into memory, compiled anew after an update: no question is to wait for that."""
    try:
        warm()
    except Exception as error:  # then the first question meets the fault, and says so
        logging.getLogger(logs.NAME).error("warm", exc_info=error)
    # What has been loaded stays; to look through all of it again and again would hold answers up.
    gc.collect()
    gc.freeze()
    readiness.ready = True
