"""Questions: what a motor will do. Each is answered by the function that answers the command."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel

from motorfit.answers.facts import asked_air
from motorfit.answers.hover import hover
from motorfit.answers.machine import LimitChoice
from motorfit.answers.posterior import count
from motorfit.answers.predict import DEFAULT_THROTTLE, predict
from motorfit.answers.step import step
from motorfit.answers.supply import PackChoice
from motorfit.archive.files import FitFile
from motorfit.archive.loaded import LoadedFit

from . import answers, forms
from .freshness import headers_of, tag_of, unchanged
from .limits import MAX_WORK
from .negotiate import form_of
from .problems import RefusalError, responses
from .questions import EnduranceQuestion, PredictionQuestion, TransientQuestion, question_text
from .routes_library import NOT_MODIFIED, TABLES
from .service import Here, Service
from .tables import Table, encode

router = APIRouter(tags=["questions"])
ASK = responses(400, 401, 403, 404, 406, 409, 413, 415, 421, 422, 500, 503)

WARNINGS = "Motorfit-Warnings"
"""Header of an answer in the form of a table: codes of its warnings."""

Answered = tuple[dict[str, Any], Table | None]


@router.post(
    "/v1/predictions",
    summary="Curves over throttle with bands, as `motorfit predict --json`",
    responses={200: {"model": answers.PredictionAnswer, "content": TABLES}, **NOT_MODIFIED, **ASK},
)
async def predictions(request: Request, here: Here, body: PredictionQuestion) -> Response:
    """Predict static curves from an ideal supply. A prediction warns, it never certifies."""

    def make(fit: LoadedFit) -> Answered:
        _bounded(len(body.throttle or DEFAULT_THROTTLE), body.draws, fit)
        answer = predict(
            fit,
            propeller=body.propeller,
            voltage_v=body.voltage,
            throttle=body.throttle,
            **_common(body, fit),
        )
        document = answer.to_json()
        return document, forms.of_curves("throttle", answer.throttle, answer.curves, document)

    return await _answer(request, here, body, here.shelf.pick(body.motor, body.fit), make)


@router.post(
    "/v1/transients",
    summary="How fast it speeds up and slows down, as `motorfit step --json`",
    responses={200: {"model": answers.TransientAnswer, "content": TABLES}, **NOT_MODIFIED, **ASK},
)
async def transients(request: Request, here: Here, body: TransientQuestion) -> Response:
    """Answer both ways between two throttles; with `times` also curves, which tables hold."""

    def make(fit: LoadedFit) -> Answered:
        _bounded(len(body.times), body.draws, fit)
        answer = step(
            fit,
            propeller=body.propeller,
            voltage_v=body.voltage,
            from_throttle=body.from_,
            to_throttle=body.to,
            times_s=body.times,
            pack=_pack(body.cells, body.capacity_mah, body),
            motors=body.motors,
            **_common(body, fit),
        )
        document = answer.to_json()
        table = forms.of_curves("time_s", answer.times_s, answer.curves, document) if body.times else None
        return document, table

    return await _answer(request, here, body, here.shelf.pick(body.motor, body.fit), make)


@router.post(
    "/v1/endurance",
    summary="What hovering takes and for how long, as `motorfit hover --json`",
    responses={200: {"model": answers.EnduranceAnswer}, **NOT_MODIFIED, **ASK},
)
async def endurance(request: Request, here: Here, body: EnduranceQuestion) -> Response:
    """Answer for static thrust: no airframe in the wash, no wind. It warns, it never certifies."""

    def make(fit: LoadedFit) -> Answered:
        pack = _pack(body.cells, body.capacity_mah, body)
        answer = hover(
            fit,
            propeller=body.propeller,
            pack=pack,  # type: ignore[arg-type]  # both of its parts are required here
            mass_g=body.mass_g,
            motors=body.motors,
            reserve=body.reserve,
            winding_limit_c=body.winding_limit,
            **_common(body, fit),
        )
        return answer.to_json(), None

    return await _answer(request, here, body, here.shelf.pick(body.motor, body.fit), make)


def _bounded(points: int, draws: int | None, fit: LoadedFit) -> None:
    """Refuse a question that would keep a core busy for long."""
    held = count(fit)
    if points * min(draws or held, held) > MAX_WORK:
        raise RefusalError(
            409, f"draws times points: at most {MAX_WORK} are allowed. Ask for fewer of either."
        )


def _common(body: Any, fit: LoadedFit) -> dict[str, Any]:
    limit: LimitChoice = None if body.current_limit == "none" else body.current_limit
    return {
        "draws": body.draws,
        "interval": body.interval,
        "current_limit": limit,
        "air": asked_air(fit, body.air_temperature, body.air_pressure, body.air_humidity),
        "winding_temperature_c": body.winding_temperature,
        "magnet_temperature_c": body.magnet_temperature,
    }


def _pack(cells: int | None, capacity_mah: float | None, body: Any) -> PackChoice | None:
    if cells is None and capacity_mah is None:
        return None
    if cells is None or capacity_mah is None:
        raise RefusalError(409, "A pack needs both cells and capacity_mah.")
    return PackChoice(cells, capacity_mah, body.charge, body.cell_resistance_ohm, body.pack_temperature)


async def _answer(
    request: Request, here: Service, body: BaseModel, file: FitFile, make: Callable[[LoadedFit], Answered]
) -> Response:
    return await answer_of_fits(request, here, body, (file,), lambda fits: make(fits[0]))


async def answer_of_fits(
    request: Request,
    here: Service,
    body: BaseModel,
    files: Sequence[FitFile],
    make: Callable[[Sequence[LoadedFit]], Answered],
) -> Response:
    """Answer 304, or what ``make`` makes of fits in a thread, in the form that is wanted."""
    form = form_of(request)
    tag = tag_of(request, (file.fit_id for file in files), question_text(body), form)
    # A question changes nothing, so a POST that asks is as cacheable as a GET, and says so.
    same = unchanged(request, tag)
    if same is not None:
        return same

    def work() -> Response:
        document, table = make([here.shelf.load(file) for file in files])
        if form == "json":
            return JSONResponse(document, headers=headers_of(tag))
        if table is None:
            raise RefusalError(406, "Accept: this answer has no curves to put in a table; it is JSON.")
        content, media = encode(table, form)
        # A table has no place for what its reader must know, so the codes go with it.
        codes = ", ".join(dict.fromkeys(warning["code"] for warning in document.get("warnings", ())))
        more = {WARNINGS: codes} if codes else {}
        return Response(content, media_type=media, headers=headers_of(tag) | more)

    return await here.pool.run(work)
