"""Errors as problem details (RFC 9457): one JSON shape for whatever goes wrong."""

from __future__ import annotations

from http import HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from motorfit.archive.errors import ArchiveError, NotFoundError
from motorfit.errors import MotorfitError

MEDIA_TYPE = "application/problem+json"


def problem(status: int, detail: str, instance: str) -> JSONResponse:
    """Return a problem of the generic type, titled by its status (RFC 9457, section 4.2.1)."""
    body = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": instance,
    }
    return JSONResponse(body, status_code=status, media_type=MEDIA_TYPE)


def install(app: FastAPI) -> None:
    """Turn every error of the application into a problem."""

    async def not_found(request: Request, error: Exception) -> JSONResponse:
        return problem(404, str(error), request.url.path)

    async def refused(request: Request, error: Exception) -> JSONResponse:
        return problem(400, str(error), request.url.path)

    async def damaged(request: Request, error: Exception) -> JSONResponse:
        return problem(500, str(error), request.url.path)

    async def by_status(request: Request, error: Exception) -> JSONResponse:
        status = error.status_code if isinstance(error, HTTPException) else 500
        detail = str(error.detail) if isinstance(error, HTTPException) else ""
        return problem(status, detail, request.url.path)

    async def malformed(request: Request, error: Exception) -> JSONResponse:
        faults = error.errors() if isinstance(error, RequestValidationError) else []
        told = "; ".join(f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}" for fault in faults)
        return problem(422, told, request.url.path)

    async def unexpected(request: Request, error: Exception) -> JSONResponse:
        # What went wrong inside is for the server's log, not for the caller.
        return problem(500, "The service met a fault of its own.", request.url.path)

    app.add_exception_handler(NotFoundError, not_found)
    app.add_exception_handler(ArchiveError, damaged)
    app.add_exception_handler(MotorfitError, refused)
    app.add_exception_handler(HTTPException, by_status)
    app.add_exception_handler(RequestValidationError, malformed)
    app.add_exception_handler(Exception, unexpected)
