"""Questions over the whole library: motors compared, propellers listed."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Request, Response
from fastapi import Path as PathParameter
from fastapi.responses import JSONResponse

from motorfit.answers.claims import ClaimedTable, stated_claims
from motorfit.answers.companions import companions
from motorfit.answers.compare import compare
from motorfit.answers.propeller_list import list_propellers
from motorfit.answers.propeller_tested import library_propellers
from motorfit.archive.files import FitFile

from . import answers
from .freshness import headers_of, tag_of, unchanged
from .pages import PageWanted
from .problems import RefusalError
from .questions import ClaimedRows, ComparisonQuestion
from .routes_library import NOT_MODIFIED, READ, IntervalWanted
from .routes_questions import ASK, Answered, answer_of_fits, setting_of
from .service import Here, Service

router = APIRouter()


@router.post(
    "/v1/comparisons",
    summary="Motors compared draw by draw, as `motorfit compare --json`",
    tags=["questions"],
    responses={200: {"model": answers.ComparisonAnswer}, **NOT_MODIFIED, **ASK},
)
async def comparisons(request: Request, here: Here, body: ComparisonQuestion) -> Response:
    """Compare figures of motors with what they share taken out."""
    named = [here.shelf.find(fit) for fit in dict.fromkeys(body.fit)]
    repeated = len(set(body.motors)) < len(body.motors)
    if repeated or any(file.motor not in body.motors for file in named):
        raise RefusalError(409, "motors: name every motor once, and only fits of motors that are named.")
    files: list[FitFile] = []
    for motor in body.motors:
        own = [file for file in named if file.motor == motor]
        files += own or [here.shelf.pick(motor)]

    def make() -> Answered:
        library = here.settings.library
        fits = [here.shelf.load(file) for file in files]
        alone = body.propeller is None or all(body.propeller in fit.propellers for fit in fits)
        answer = compare(
            fits,
            companions=companions(library, fits),
            library_propellers=() if alone else library_propellers(library, fits[0]),
            propeller=body.propeller,
            voltage_v=body.voltage,
            metrics=tuple(body.metric),
            margin=body.margin,
            weights=body.weights,
            claims=body.claim,
            tables=[(rows.motor, _table(rows)) for rows in body.claims],
            models=body.models,
            from_throttle=body.from_,
            to_throttle=body.to,
            mass_g=body.mass_g,
            motors=body.motors_of_aircraft,
            **setting_of(body, fits[0]),
        )
        return answer.to_json(), None

    # What ties campaigns together, and propellers, may stand in any fit of the library.
    return await answer_of_fits(request, here, body, [*files, *await _all(here)], make)


@router.get(
    "/v1/propellers",
    summary="Propellers tested, with coefficients and where they come from",
    tags=["library"],
    responses={200: {"model": answers.PropellerList}, **NOT_MODIFIED, **READ},
)
async def propellers(
    request: Request, here: Here, page: PageWanted, interval: IntervalWanted = 0.9
) -> Response:
    """List an entry for each propeller and campaign, by id."""
    tag = tag_of(request, (f.fit_id for f in await _all(here)), f"{interval} {page.offset} {page.limit}")
    same = unchanged(request, tag)
    if same is not None:
        return same
    found = await here.pool.run(list_propellers, here.settings.library, interval)
    body = {"propellers": [one.to_json() for one in page.of(found)], **page.fields(len(found))}
    return JSONResponse(body, headers=headers_of(tag) | page.links(request, len(found)))


@router.get(
    "/v1/propellers/{propeller}",
    summary="One propeller, as each campaign knows it",
    tags=["library"],
    responses={200: {"model": answers.PropellerAnswer}, **NOT_MODIFIED, **READ},
)
async def propeller_entries(
    request: Request,
    here: Here,
    propeller: Annotated[str, PathParameter(description="Id of a propeller.", examples=["p7x35x3"])],
    interval: IntervalWanted = 0.9,
) -> Response:
    """Answer with an entry for each campaign that tested it, latest last."""
    tag = tag_of(request, (f.fit_id for f in await _all(here)), str(interval))
    found = await here.pool.run(list_propellers, here.settings.library, interval)
    entries: list[dict[str, Any]] = [one.to_json() for one in found if one.propeller == propeller]
    if not entries:
        raise RefusalError(
            404, f"propeller {propeller[:128]!r}: the library holds no test of it. /v1/propellers lists them."
        )
    same = unchanged(request, tag)
    if same is not None:
        return same
    return JSONResponse({"propeller": propeller, "entries": entries}, headers=headers_of(tag))


def _table(rows: ClaimedRows) -> ClaimedTable:
    columns = rows.model_dump(include={"speed_rpm", "thrust_n", "current_a", "torque_nm"}, exclude_none=True)
    return stated_claims(rows.name, rows.voltage_v, rows.throttle, columns)


async def _all(here: Service) -> list[FitFile]:
    return [file for _, files in await here.pool.run(here.shelf.motors) for file in files]
