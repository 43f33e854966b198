"""Reading: what the library holds, and what each fit knows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Query, Request, Response
from fastapi import Path as PathParameter
from fastapi.responses import FileResponse, JSONResponse

from motorfit.answers.blocks import block_runs
from motorfit.answers.draws import draw_table
from motorfit.answers.plain import plain
from motorfit.answers.posterior import count
from motorfit.answers.show import summarise
from motorfit.archive.files import FitFile
from motorfit.archive.identity import campaign_fit_of
from motorfit.archive.store import list_fits

from . import answers, forms
from .freshness import headers_of, tag_of, unchanged
from .limits import MAX_DRAWS
from .negotiate import MEDIA, form_of
from .pages import PageWanted
from .problems import responses
from .service import Here, Service
from .tables import encode

router = APIRouter(tags=["library"])

MotorId = Annotated[str, PathParameter(description="Id of a motor in the library.", examples=["tern-2807"])]
FitId = Annotated[
    str,
    PathParameter(description="Id of a stored fit.", examples=["20300102T030405.678901Z-9f86d081-1"]),
]
IntervalWanted = Annotated[float, Query(ge=0.01, le=0.999, description="Probability inside every interval.")]
Form = Annotated[
    Literal["json", "csv", "parquet", "netcdf"] | None,
    Query(alias="format", description="Form of the answer; left out, the Accept header says it."),
]
READ = responses(401, 403, 404, 421, 422, 500, 503)
TABLES: dict[str, Any] = {
    media.split(";")[0]: {"schema": {"type": "string", "contentMediaType": media.split(";")[0]}}
    for form, media in MEDIA.items()
    if form != "json"
}
NOT_MODIFIED: dict[int | str, dict[str, Any]] = {
    304: {"description": "The answer named by If-None-Match is still the answer."}
}


@router.get(
    "/v1/motors",
    summary="Motors that have a fit",
    responses={200: {"model": answers.MotorList}, **NOT_MODIFIED, **READ},
)
async def motors(request: Request, here: Here, page: PageWanted) -> Response:
    """List the motors by id."""
    found = await here.pool.run(here.shelf.motors)
    tag = tag_of(request, (f.fit_id for _, files in found for f in files), f"{page.offset} {page.limit}")
    same = unchanged(request, tag)
    if same is not None:
        return same
    entries = [
        {"motor": motor, "fits": len(files), "latest": files[-1].fit_id} for motor, files in page.of(found)
    ]
    body = {"motors": entries, **page.fields(len(found))}
    return JSONResponse(body, headers=headers_of(tag) | page.links(request, len(found)))


@router.get(
    "/v1/motors/{motor}",
    summary="A motor's parameters, as `motorfit show --json`",
    responses={200: {"model": answers.MotorAnswer}, **NOT_MODIFIED, **READ},
)
async def motor_summary(
    request: Request,
    here: Here,
    motor: MotorId,
    fit: Annotated[str | None, Query(description="A stored fit; the latest when left out.")] = None,
    interval: IntervalWanted = 0.9,
) -> Response:
    """Answer from the latest fit, or the one named."""
    return await _summary(request, here, here.shelf.pick(motor, fit), interval)


@router.get(
    "/v1/motors/{motor}/fits",
    summary="A motor's fits, oldest first",
    responses={200: {"model": answers.FitList}, **NOT_MODIFIED, **READ},
)
async def motor_fits(request: Request, here: Here, motor: MotorId, page: PageWanted) -> Response:
    """List the fits without reading their draws."""
    held = here.shelf.fits(motor)
    tag = tag_of(request, (file.fit_id for file in held), f"{page.offset} {page.limit}")
    same = unchanged(request, tag)
    if same is not None:
        return same
    fits = await here.pool.run(list_fits, here.settings.library, motor)
    entries = []
    for fit in page.of(fits):
        entry = fit.to_json()
        if entry["problem"] is not None:
            # The archive's words name a folder of this machine.
            entry["problem"] = "The file cannot be read; `motorfit show` on the server says why."
        entries.append(entry)
    body = {"motor": motor, "fits": entries, **page.fields(len(fits))}
    return JSONResponse(body, headers=headers_of(tag) | page.links(request, len(fits)))


@router.get(
    "/v1/fits/{fit}",
    summary="Where a fit comes from",
    responses={200: {"model": answers.FitAnswer}, **NOT_MODIFIED, **READ},
)
async def fit_facts(request: Request, here: Here, fit: FitId) -> Response:
    """Answer with the facts of the campaign and the provenance of the fit."""

    def make(file: FitFile) -> dict[str, Any]:
        loaded = here.shelf.load(file)
        return {
            "motor": loaded.motor,
            "fit": loaded.fit_id,
            "campaign_fit": campaign_fit_of(loaded.fit_id),
            "propellers": list(loaded.propellers),
            "draws": count(loaded),
            "parameters": sorted(loaded.draws),
            "facts": plain(loaded.constant),
            "provenance": plain(loaded.attributes),
        }

    return await _json(request, here, here.shelf.find(fit), "", make)


@router.get(
    "/v1/fits/{fit}/parameters",
    summary="The parameters of a fit, as `motorfit show --json`",
    responses={200: {"model": answers.MotorAnswer}, **NOT_MODIFIED, **READ},
)
async def fit_parameters(
    request: Request, here: Here, fit: FitId, interval: IntervalWanted = 0.9
) -> Response:
    """Answer as for the motor, of this fit."""
    return await _summary(request, here, here.shelf.find(fit), interval)


@router.get(
    "/v1/fits/{fit}/runs",
    summary="What its runs showed, beside what the fit says of them",
    responses={200: {"model": answers.RunsAnswer}, **NOT_MODIFIED, **READ},
)
async def fit_runs(request: Request, here: Here, fit: FitId, interval: IntervalWanted = 0.9) -> Response:
    """Answer with block means of the logs and the posterior's replicas of them, in SI units."""

    def make(file: FitFile) -> dict[str, Any]:
        runs = block_runs(here.shelf.load(file), interval)
        facts = {"motor": file.motor, "fit": file.fit_id, "interval": interval}
        return {**facts, "runs": [run.to_json() for run in runs]}

    return await _json(request, here, here.shelf.find(fit), str(interval), make)


@router.get(
    "/v1/fits/{fit}/posterior",
    summary="Draws of the posterior",
    responses={
        200: {"model": answers.DrawsAnswer, "content": TABLES},
        **NOT_MODIFIED,
        **READ,
        **responses(406),
    },
)
async def fit_posterior(
    request: Request,
    here: Here,
    fit: FitId,
    draws: Annotated[
        int | None, Query(ge=1, le=MAX_DRAWS, description="Draws wanted, evenly spaced; all when left out.")
    ] = None,
    parameters: Annotated[
        str | None,
        Query(
            max_length=2000,
            pattern=r"^[a-z0-9_]+(,[a-z0-9_]+)*$",
            description="Names separated by commas; all when left out.",
            examples=["kv,kt,winding_resistance"],
        ),
    ] = None,
    format_: Form = None,
) -> Response:
    """Answer with draws as JSON, CSV, Parquet or netCDF."""
    form = form_of(request, format_)
    file = here.shelf.find(fit)
    tag = tag_of(request, (file.fit_id,), f"{draws} {parameters}", form)
    same = unchanged(request, tag)
    if same is not None:
        return same
    names = tuple(dict.fromkeys(parameters.split(","))) if parameters else ()

    def make() -> Response:
        table = draw_table(here.shelf.load(file), draws, names)
        if form == "json":
            return JSONResponse(table.to_json(), headers=headers_of(tag))
        content, media = encode(forms.of_draws(table), form)
        return Response(content, media_type=media, headers=headers_of(tag))

    return await here.pool.run(make)


@router.get(
    "/v1/fits/{fit}/file",
    summary="The whole fit as its netCDF file",
    response_class=FileResponse,
    responses={
        200: {
            "content": {MEDIA["netcdf"]: {"schema": {"type": "string", "contentMediaType": MEDIA["netcdf"]}}}
        },
        **NOT_MODIFIED,
        **READ,
    },
)
async def fit_file(request: Request, here: Here, fit: FitId) -> Response:
    """Answer with the file as the library holds it."""
    file = here.shelf.find(fit)
    tag = tag_of(request, (file.fit_id,))
    same = unchanged(request, tag)
    if same is not None:
        return same
    path = file.path(here.settings.library)
    name = f"{file.motor}-{file.fit_id}.nc"
    return FileResponse(path, media_type=MEDIA["netcdf"], filename=name, headers=headers_of(tag))


async def _summary(request: Request, here: Service, file: FitFile, interval: float) -> Response:
    def make(file: FitFile) -> dict[str, Any]:
        return summarise(here.shelf.load(file), interval).to_json()

    return await _json(request, here, file, str(interval), make)


async def _json(
    request: Request, here: Service, file: FitFile, question: str, make: Callable[[FitFile], dict[str, Any]]
) -> Response:
    """Answer 304, or what ``make`` makes of a fit in a thread."""
    tag = tag_of(request, (file.fit_id,), question)
    same = unchanged(request, tag)
    if same is not None:
        return same
    return await kept_json(here, tag, lambda: make(file))


async def kept_json(here: Service, tag: str, make: Callable[[], dict[str, Any]]) -> Response:
    """Return what ``make`` makes in a thread as JSON, or the same from before."""
    body = here.kept.get(tag)
    if body is None:
        body = await here.pool.run(lambda: orjson.dumps(make()))
        here.kept.put(tag, body)
    return Response(body, media_type="application/json", headers=headers_of(tag))
