"""Jobs: uploads that a worker checks or fits."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Header, Query, Request, Response
from fastapi import Path as PathParameter
from fastapi.responses import JSONResponse, StreamingResponse

from . import job_answers
from .jobs import ENDED, Job
from .limits import MAX_EVENT_STREAMS
from .pages import PageWanted
from .problems import RefusalError, responses
from .receive import fit_of_check, receive
from .service import Here, Service

router = APIRouter(tags=["jobs"])

JobId = Annotated[
    str,
    PathParameter(
        description="Id of a job, as its Location says it.",
        pattern=r"^[0-9A-Za-z-]{1,64}$",
        examples=["20300102T030405-3f1c9a7b5d2e4f60718293a4"],
    ),
]
Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=255,
        pattern=r"^[!-~]+$",
        description="A repeat with the same key and content is the same job.",
    ),
]
UPLOAD = responses(400, 401, 403, 404, 409, 413, 415, 421, 422, 500, 503, 507)
ACCEPTED: dict[int | str, dict[str, Any]] = {
    202: {
        "model": job_answers.JobAnswer,
        "description": "Kept; a worker will do it.",
        "headers": {"Location": {"schema": {"type": "string"}, "description": "Path of the job."}},
    }
}
ASKED = responses(401, 403, 404, 421, 422, 500, 503, 507)
_POLL_S = 0.25
_BEAT_S = 15.0


@router.post(
    "/v1/campaigns",
    status_code=202,
    summary="Upload a campaign to be fitted",
    responses={**ACCEPTED, **UPLOAD},
    openapi_extra=job_answers.UPLOAD_OF_FIT,
)
async def campaigns(request: Request, here: Here, key: Key = None) -> Response:
    """Take the campaign file with its logs, or one archive of all; options as in `motorfit fit`."""
    return _accepted(await receive(request, here, "fit", key))


@router.post(
    "/v1/checks",
    status_code=202,
    summary="Upload a campaign to be checked, not fitted",
    responses={**ACCEPTED, **UPLOAD},
    openapi_extra=job_answers.UPLOAD_OF_CHECK,
)
async def checks(request: Request, here: Here, key: Key = None) -> Response:
    """Take an upload as for a fit, which then needs no second one. Answers as `motorfit check --json`."""
    return _accepted(await receive(request, here, "check", key))


@router.post(
    "/v1/holdouts",
    status_code=202,
    summary="Upload a campaign to be fitted without a run and scored on it",
    responses={**ACCEPTED, **UPLOAD},
    openapi_extra=job_answers.UPLOAD_OF_HOLDOUT,
)
async def holdouts(request: Request, here: Here, key: Key = None) -> Response:
    """Take an upload as for a fit; give `run` or `leave`. Answers as `motorfit holdout --json`."""
    return _accepted(await receive(request, here, "holdout", key))


@router.post(
    "/v1/jobs/{job}/fit",
    status_code=202,
    summary="Fit what a check has seen, without a second upload",
    responses={**ACCEPTED, **ASKED, **responses(409, 503)},
)
async def job_fit(
    request: Request,
    here: Here,
    job: JobId,
    method: Annotated[Literal["auto", "fast", "ensemble"], Query(description="How draws are made.")] = "auto",
    seed: Annotated[int, Query(ge=0, le=2**63 - 1, description="Of every random number.")] = 0,
    draws: Annotated[int, Query(ge=100, le=20_000, description="Posterior draws to keep.")] = 4000,
    key: Key = None,
) -> Response:
    """Queue a fit of the files of a check that has ended; they are kept for a day."""
    options = {"method": method, "seed": seed, "draws": draws}
    caller = request.scope["caller"]
    return _accepted(await asyncio.to_thread(fit_of_check, here, caller, key, _known(here, job), options))


@router.get(
    "/v1/jobs",
    summary="Jobs, newest first",
    responses={200: {"model": job_answers.JobList}, **responses(401, 403, 421, 422, 500, 503, 507)},
)
async def jobs(request: Request, here: Here, page: PageWanted) -> Response:
    """List the jobs of the last weeks, without their results."""
    found, total = await asyncio.to_thread(here.queue.list, page.offset, page.limit)
    entries = [job.to_json() | {"result": None} for job in found]
    return JSONResponse({"jobs": entries, **page.fields(total)}, headers=page.links(request, total))


@router.get("/v1/jobs/{job}", summary="State of a job, its result or its problem",
            responses={200: {"model": job_answers.JobAnswer}, **ASKED})  # fmt: skip
async def job_state(here: Here, job: JobId) -> Response:
    """Answer with the state now. Instead of asking again and again, follow the events."""
    return JSONResponse(_known(here, job).to_json(), headers={"Cache-Control": "no-store"})


@router.delete("/v1/jobs/{job}", summary="Cancel a job",
               responses={200: {"model": job_answers.JobAnswer}, **ASKED, **responses(409)})  # fmt: skip
async def job_cancel(here: Here, job: JobId) -> Response:
    """Cancel; a job that runs is stopped within a second. One that has ended cannot be cancelled."""
    _known(here, job)
    found = await asyncio.to_thread(here.queue.cancel, job)
    if found is not None and found.state in ("done", "failed"):
        raise RefusalError(409, f"The job has ended ({found.state}); there is nothing to cancel.")
    return JSONResponse(_known(here, job).to_json())


@router.get("/v1/jobs/{job}/curves", summary="Raw curves of a check, thinned for drawing",
            responses={200: {"model": job_answers.CurvesAnswer}, **ASKED, **responses(409)})  # fmt: skip
async def job_curves(here: Here, job: JobId) -> Response:
    """Answer with the logs as they were read, in SI units, as many points as a line on a screen shows."""
    found = _known(here, job)
    if found.kind != "check" or found.state != "done":
        raise RefusalError(409, "Curves belong to a check that is done.")
    path = here.uploads.folder(job) / "curves.json"
    if not path.is_file():
        raise RefusalError(404, "This check read no logs: its campaign file has faults.")
    return Response(await asyncio.to_thread(path.read_bytes), media_type="application/json")


@router.get("/v1/jobs/{job}/events", summary="Progress of a job, as server-sent events",
            response_class=StreamingResponse,
            responses={200: {"content": {"text/event-stream": {"schema": job_answers.EVENT}}}, **ASKED,
                       **responses(503)})  # fmt: skip
async def job_events(
    request: Request,
    here: Here,
    job: JobId,
    last: Annotated[
        str | None,
        Header(alias="Last-Event-ID", pattern=r"^[0-9]{1,9}$", description="Number of the last event seen."),
    ] = None,
) -> Response:
    """Send `state` and `progress` as they come, and the whole job as `end`; then the stream closes.

    A reader that was cut off goes on where it was with the header Last-Event-ID.
    """
    _known(here, job)
    if here.streams.open >= MAX_EVENT_STREAMS:
        raise RefusalError(
            503, "Too many readers follow events. Ask for the state instead.", {"Retry-After": "10"}
        )
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(
        _events(here, job, int(last or 0)), media_type="text/event-stream", headers=headers
    )


async def _events(here: Service, job: str, after: int) -> AsyncIterator[str]:
    here.streams.open += 1
    try:
        yield "retry: 1000\n\n"
        quiet = 0.0
        while True:
            # The state first: whatever it says has its events on the disk by then.
            found = await asyncio.to_thread(here.queue.get, job)
            for event in await asyncio.to_thread(here.queue.events, job, after):
                after, quiet = event.number, 0.0
                yield f"id: {event.number}\nevent: {event.name}\ndata: {event.data}\n\n"
            if found is None or found.state in ENDED:
                if found is not None:
                    yield f"id: {after}\nevent: end\ndata: {json.dumps(found.to_json())}\n\n"
                return
            if here.streams.closing:
                return
            await asyncio.sleep(_POLL_S)
            quiet += _POLL_S
            if quiet >= _BEAT_S:
                quiet = 0.0
                yield ": still there\n\n"
    finally:
        here.streams.open -= 1


def _accepted(job: Job) -> Response:
    return JSONResponse(job.to_json(), status_code=202, headers={"Location": f"/v1/jobs/{job.id}"})


def _known(here: Service, job: str) -> Job:
    found = here.queue.get(job)
    if found is None:
        raise RefusalError(404, f"job {job!r}: there is none of that id, or it is too long ago.")
    return found
