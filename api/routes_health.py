"""For those who run the service: whether it answers, and what it counts."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

import motorfit

from . import answers
from .metrics import MEDIA_TYPE, Metrics
from .problems import responses
from .service import Here

router = APIRouter(tags=["operation"])


@router.get(
    "/healthz",
    summary="Whether the service answers",
    responses={
        **responses(421, 500),
        503: {"model": answers.Health, "description": "It has just been started; questions wait a little."},
    },
)
async def healthz(here: Here, response: Response) -> answers.Health:
    """Answer at once, without looking at the library; `starting` until compiled code is in memory."""
    if not here.readiness.ready:
        response.status_code, response.headers["Retry-After"] = 503, "1"
    status = "ok" if here.readiness.ready else "starting"
    return answers.Health(status=status, version=motorfit.__version__)


@router.get(
    "/metrics",
    summary="Counts in the text format of Prometheus",
    response_class=PlainTextResponse,
    responses={**responses(401, 403, 421, 500, 503)},
)
async def metrics(request: Request, here: Here) -> Response:
    """Answer with requests, their duration, and jobs by state, of all processes of the service."""
    counted: Metrics = request.app.state.metrics
    return Response(await here.pool.run(counted.text), media_type=MEDIA_TYPE)
