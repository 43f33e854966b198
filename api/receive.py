"""Taking an upload in: to the disk as it is, then into the queue; only then is it acknowledged."""

from __future__ import annotations

import asyncio
import io
import tempfile
from collections.abc import Callable
from typing import Any, BinaryIO, cast

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.datastructures import FormData, UploadFile

from motorfit.archive.space import free_bytes

from .jobs import ENDED, Job, QueueFullError, new_id
from .problems import NO_SPACE, RefusalError
from .service import Service

ARCHIVES = (
    "application/zip",
    "application/gzip",
    "application/x-gzip",
    "application/x-tar",
    "application/x-gtar",
)
PARTS = ("campaign", "logs", "archive")
_MOST_FIELDS = 8


class FitOptions(BaseModel):
    """Options of `motorfit fit`, as fields of the form or in the query."""

    model_config = ConfigDict(extra="forbid")
    method: str = Field("auto", pattern="^(auto|fast|ensemble)$")
    seed: int = Field(0, ge=0, le=2**63 - 1)
    draws: int = Field(4000, ge=100, le=20_000)


class HoldoutOptions(BaseModel):
    """Options of `motorfit holdout`: one run, or every one of a kind in turn."""

    model_config = ConfigDict(extra="forbid")
    run: str | None = Field(None, min_length=1, max_length=128)
    leave: str | None = Field(None, pattern="^(run|pair|propeller|voltage)$")
    method: str = Field("auto", pattern="^(auto|fast|ensemble)$")
    seed: int = Field(0, ge=0, le=2**63 - 1)
    draws: int = Field(1600, ge=100, le=20_000)


class CheckOptions(BaseModel):
    """A check has no options."""

    model_config = ConfigDict(extra="forbid")


Files = list[tuple[str, str, BinaryIO]]


async def receive(request: Request, here: Service, kind: str, key: str | None) -> Job:
    """Keep an upload and queue its job.

    Raises
    ------
    RefusalError
        The upload is malformed, the key was used for another one, or the queue is full.
    """
    media = request.headers.get("content-type", "").split(";")[0].strip().lower()
    query = dict(request.query_params)
    caller = request.scope.get("caller", "local")
    full = here.queue.counts()["queued"] >= here.settings.limits.queued
    # Before the body is read: a full queue should cost nobody an upload. A repeat is still answered.
    if full and (key is None or here.queue.known(caller, kind, key) is None):
        raise _full()
    if free_bytes(here.settings.state, here.settings.library) < here.settings.limits.free_bytes:
        raise RefusalError(507, NO_SPACE, {"Retry-After": "60"})
    if media == "multipart/form-data":
        async with request.form(
            max_files=here.settings.limits.files + 1, max_fields=_MOST_FIELDS, max_part_size=1024 * 1024
        ) as form:
            files, fields = _parts(form)
            return await asyncio.to_thread(_keep, here, kind, caller, key, files, query, fields)
    if media in ARCHIVES:
        with tempfile.SpooledTemporaryFile(max_size=1 << 20) as body:
            async for chunk in request.stream():
                body.write(chunk)
            body.seek(0)
            files = [("archive", "archive", cast(BinaryIO, body))]
            return await asyncio.to_thread(_keep, here, kind, caller, key, files, query, {})
    raise RefusalError(
        415,
        f"Content-Type {media[:80]!r}: multipart/form-data or an archive ({', '.join(ARCHIVES)}) is taken.",
    )


def _parts(form: FormData) -> tuple[Files, dict[str, str]]:
    files: Files = []
    fields: dict[str, str] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            if name not in PARTS:
                raise RefusalError(422, f"Part {name[:80]!r}: files are taken as campaign, logs or archive.")
            files.append((name, value.filename or "", value.file))
        elif name in PARTS and name != "logs":
            # A file that was sent as a field: the same bytes, only without a name.
            files.append((name, "", io.BytesIO(value.encode())))
        elif name == "logs":
            raise RefusalError(422, "Part 'logs' must be a file, with the name that the campaign uses.")
        elif name in fields:
            raise RefusalError(422, f"Field {name[:80]!r} is given twice.")
        else:
            fields[name] = value
    return files, fields


def _keep(
    here: Service,
    kind: str,
    caller: str,
    key: str | None,
    files: Files,
    query: dict[str, str],
    fields: dict[str, str],
) -> Job:
    _options(kind, query)
    options = _options(kind, query | fields)
    if kind == "holdout" and (options["run"] is None) == (options["leave"] is None):
        raise RefusalError(409, "Give one of run (its id) and leave (run, pair, propeller or voltage).")
    whole = [part for part, _, _ in files if part != "logs"]
    if len(whole) != 1:
        raise RefusalError(422, "One part `campaign` (the TOML file) or one `archive` is needed.")
    return _queue(here, kind, caller, key, options, lambda job: here.uploads.keep(job, files, options))


def fit_of_check(here: Service, caller: str, key: str | None, check: Job, options: dict[str, Any]) -> Job:
    """Queue the fit of what a check has seen, without a second upload.

    Raises
    ------
    RefusalError
        The job is no check, has not ended, or its files are kept no longer.
    """
    if check.kind != "check" or check.state not in ENDED:
        raise RefusalError(409, "Only a check that has ended can be fitted; upload a campaign otherwise.")

    def again(job: str) -> str:
        fingerprint = here.uploads.reuse(job, check.id, options)
        if fingerprint is None:
            raise RefusalError(404, "The files of that check are kept no longer. Upload them again.")
        return fingerprint

    return _queue(here, "fit", caller, key, options, again)


def _queue(here: Service, kind: str, caller: str, key: str | None, options: dict[str, Any],
           keep: Callable[[str], str]) -> Job:  # fmt: skip
    job = new_id()
    try:
        fingerprint = keep(job)
        made = here.queue.add(job, kind, caller, options, fingerprint, key, here.settings.limits.queued)
    except QueueFullError:
        here.uploads.discard(job)
        raise _full() from None
    except BaseException:
        here.uploads.discard(job)
        raise
    if made.id != job:
        here.uploads.discard(job)
        if made.fingerprint != fingerprint:
            raise RefusalError(
                409, "This Idempotency-Key was used for another upload. A new upload needs a new key."
            )
    return made


def _options(kind: str, fields: dict[str, str]) -> dict[str, Any]:
    shapes: dict[str, type[BaseModel]] = {"fit": FitOptions, "check": CheckOptions, "holdout": HoldoutOptions}
    try:
        return shapes[kind].model_validate(fields).model_dump()
    except ValidationError as error:
        faults = [(".".join(map(str, fault["loc"])), str(fault["msg"])) for fault in error.errors()]
        told = "; ".join(f"{at}: {message}" for at, message in faults)
        raise RefusalError(422, told, faults=faults) from None


def _full() -> RefusalError:
    return RefusalError(503, "The queue is full. Send the upload again later.", {"Retry-After": "30"})
