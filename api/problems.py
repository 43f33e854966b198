"""Errors as problem details (RFC 9457): one JSON shape for whatever goes wrong."""

from __future__ import annotations

import logging
import re
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException
from starlette.routing import Match

from motorfit.answers.errors import AnswerError
from motorfit.archive.errors import ArchiveError, NotFoundError
from motorfit.archive.space import is_full
from motorfit.errors import MotorfitError

from .database import StateError

MEDIA_TYPE = "application/problem+json"
_LOG = logging.getLogger("motorfit.service")
NO_SPACE = (
    "The service's disk is full; nothing of this was kept. Once its owner has made room, send it again."
)
_OWN_FAULT = "The service met a fault of its own; its log says which."


class Fault(BaseModel):
    """One fault of a request: where it is and what is wrong with it."""

    at: str = Field(
        description="Where: `body.voltage_v`, `query.limit`, `header.…`.", examples=["body.draws"]
    )
    message: str = Field(description="What is wrong and what is allowed.")


class Problem(BaseModel):
    """Problem details (RFC 9457)."""

    model_config = ConfigDict(extra="allow")

    type: str = Field(description="Always `about:blank`: the status says the kind.", examples=["about:blank"])
    title: str = Field(description="The status in words.", examples=["Not Found"])
    status: int = Field(description="The HTTP status.", examples=[404])
    detail: str = Field(description="What went wrong here, and how to mend it.")
    instance: str = Field(description="Path that was asked.", examples=["/v1/motors/wren-1104"])
    request: str | None = Field(default=None, description="Id of the request in the service's log.")
    faults: list[Fault] | None = Field(default=None, description="Single faults, where there are several.")


class RefusalError(HTTPException):
    """A request that is refused with a status, a sentence, and headers."""

    def __init__(
        self,
        status: int,
        detail: str,
        headers: Mapping[str, str] | None = None,
        faults: Sequence[tuple[str, str]] = (),
    ) -> None:
        super().__init__(status, detail, dict(headers or {}))
        self.faults = tuple(faults)


def problem_body(
    status: int,
    detail: str,
    instance: str,
    request: str | None = None,
    faults: Sequence[tuple[str, str]] = (),
) -> dict[str, Any]:
    """Return a problem of the generic type, titled by its status (RFC 9457, section 4.2.1)."""
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": instance,
    }
    if request is not None:
        body["request"] = request
    if faults:
        body["faults"] = [{"at": at, "message": message} for at, message in faults]
    return body


def problem(
    status: int,
    detail: str,
    instance: str,
    *,
    request: str | None = None,
    headers: Mapping[str, str] | None = None,
    faults: Sequence[tuple[str, str]] = (),
) -> JSONResponse:
    """Return a problem as a response."""
    body = problem_body(status, detail, instance, request, faults)
    return JSONResponse(body, status_code=status, media_type=MEDIA_TYPE, headers=dict(headers or {}))


def responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the description of problems that a route can answer with, for the interface's document."""
    schema = {"$ref": "#/components/schemas/Problem"}
    return {
        status: {"description": HTTPStatus(status).phrase, "content": {MEDIA_TYPE: {"schema": schema}}}
        for status in sorted(set(statuses))
    }


def answer_of(request: Request, error: Exception) -> JSONResponse:
    """Return the response to any error; what is not meant for the caller goes to the log only."""
    here = request.url.path
    known = request.scope.get("request_id")
    if isinstance(error, RefusalError):
        return problem(
            error.status_code,
            str(error.detail),
            here,
            request=known,
            headers=error.headers,
            faults=error.faults,
        )
    if isinstance(error, HTTPException):
        headers = dict(error.headers or {})
        if error.status_code == 405:
            headers["Allow"] = _allowed(request)
        return problem(error.status_code, _told(error, headers), here, request=known, headers=headers)
    if isinstance(error, RequestValidationError):
        faults = _faults(error)
        told = "; ".join(f"{at}: {message}" for at, message in faults[:5])
        return problem(422, told or "The request is malformed.", here, request=known, faults=faults)
    if isinstance(error, AnswerError):
        faults = [(error.what, f"{error.value!r} cannot be used; allowed: {error.allowed}. {error.remedy}")]
        # Each value is allowed for itself, or the request would not have come this far: what the fit does not
        # hold is not found, what contradicts the fit or another value is a conflict.
        status = 404 if error.what in ("propeller", "fit", "parameters", "motor") else 409
        return problem(status, str(error), here, request=known, faults=faults)
    if isinstance(error, NotFoundError):
        # The archive's own words name its folder, which is nobody's business here.
        return problem(404, "The library holds no such motor or fit.", here, request=known)
    if isinstance(error, ArchiveError):
        _LOG.error("archive", extra={"request": known, "path": here, "error": str(error)})
        return problem(500, "A file of the library cannot be read or written; the service's log says why.",
                       here, request=known)  # fmt: skip
    if is_full(error) or (isinstance(error, StateError) and error.full):
        _LOG.error("no space", extra={"request": known, "path": here, "error": str(error)})
        return problem(507, NO_SPACE, here, request=known, headers={"Retry-After": "60"})
    if isinstance(error, StateError):
        # Its own words name a folder of this machine.
        _LOG.error("state", extra={"request": known, "path": here, "error": str(error)})
        told = "The service's own files cannot be used at the moment; its log says why."
        return problem(503, told, here, request=known, headers={"Retry-After": "10"})
    if isinstance(error, MotorfitError):
        return problem(422, str(error), here, request=known)
    _LOG.error("fault", extra={"request": known, "path": here}, exc_info=error)
    return problem(500, _OWN_FAULT, here, request=known)


def install(app: FastAPI) -> None:
    """Turn the errors of the routes into problems; what nobody expected is turned by `observe.Observe`."""

    async def handle(request: Request, error: Exception) -> JSONResponse:
        return answer_of(request, error)

    for kind in (RefusalError, HTTPException, RequestValidationError, MotorfitError):
        app.add_exception_handler(kind, handle)


def _allowed(request: Request) -> str:
    """Return the methods of all routes that share a path; the framework names those of the first alone."""
    methods: set[str] = set()
    for route in request.app.routes:
        if route.matches(request.scope)[0] is not Match.NONE:
            methods |= getattr(route, "methods", None) or set()
    return ", ".join(sorted(methods))


def _told(error: HTTPException, headers: Mapping[str, str]) -> str:
    detail = str(error.detail)
    if error.status_code == 404 and detail == "Not Found":
        return "There is nothing at this path. /v1/openapi.json lists what there is."
    if error.status_code == 405:
        allowed = headers.get("Allow", "")
        return f"This path does not take that method{f'; it takes {allowed}' if allowed else ''}."
    return detail


def _faults(error: RequestValidationError) -> list[tuple[str, str]]:
    found = []
    for fault in error.errors():
        place = ".".join(re.sub(r"[^\w\[\]-]", "", str(part)) for part in fault["loc"])
        found.append((place, str(fault["msg"])))
    return found
