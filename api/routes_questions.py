"""Questions: what a motor will do. Each is answered by the function that answers the command."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel

from motorfit.answers.axis import DEFAULT_THROTTLE
from motorfit.answers.facts import asked_air
from motorfit.answers.hover import hover
from motorfit.answers.limits import WINDING_LIMIT_C, Limits
from motorfit.answers.machine import LimitChoice
from motorfit.answers.posterior import count
from motorfit.answers.predict import predict
from motorfit.answers.propeller_search import find_propeller
from motorfit.answers.propeller_tested import untaught
from motorfit.answers.propellers import PropellerDraws, propeller_draws
from motorfit.answers.remember import remembered
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
from .routes_library import NOT_MODIFIED, TABLES, kept_json
from .service import Here, Service
from .tables import Table, encode

router = APIRouter(tags=["questions"])
ASK = responses(400, 401, 403, 404, 406, 409, 413, 415, 421, 422, 500, 503)

WARNINGS = "Motorfit-Warnings"
"""Header of an answer in the form of a table: codes of its warnings."""

Answered = tuple[dict[str, Any], Callable[[], Table] | None]
"""The answer, and what makes a table of it where one is wanted."""


@router.post(
    "/v1/predictions",
    summary="Curves over throttle with bands, as `motorfit predict --json`",
    responses={200: {"model": answers.PredictionAnswer, "content": TABLES}, **NOT_MODIFIED, **ASK},
)
async def predictions(request: Request, here: Here, body: PredictionQuestion) -> Response:
    """Predict static curves from an ideal supply. A prediction warns, it never certifies."""

    points = max(len(body.throttle or ()), len(body.points or ())) or len(DEFAULT_THROTTLE)

    def make(fit: LoadedFit) -> Answered:
        _bounded(points, body.draws, fit)
        answer = predict(
            fit,
            throttle=body.throttle,
            against=body.against,
            points=body.points,
            limits=_limits(body, body.winding_limit),
            **_supplied(body),
            **_common(here, body, fit),
        )
        document = answer.to_json()
        axis = answer.axis
        return document, partial(forms.of_curves, axis.curve, axis.points, answer.curves, document)

    return await _answer(request, here, body, make)


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
            from_throttle=body.from_,
            to_throttle=body.to,
            times_s=body.times,
            limits=_limits(body),
            **_supplied(body),
            **_common(here, body, fit),
        )
        document = answer.to_json()
        table = partial(forms.of_curves, "time_s", answer.times_s, answer.curves, document)
        return document, table if body.times else None

    return await _answer(request, here, body, make)


@router.post(
    "/v1/endurance",
    summary="What hovering takes and for how long, as `motorfit hover --json`",
    responses={200: {"model": answers.EnduranceAnswer}, **NOT_MODIFIED, **ASK},
)
async def endurance(request: Request, here: Here, body: EnduranceQuestion) -> Response:
    """Answer for static thrust: no airframe in the wash, no wind. It warns, it never certifies."""

    def make(fit: LoadedFit) -> Answered:
        answer = hover(
            fit,
            pack=_pack_of(body.cells, body.capacity_mah, body),
            mass_g=body.mass_g,
            motors=body.motors,
            reserve=body.reserve,
            winding_limit_c=body.winding_limit,
            limits=_limits(body),
            **_common(here, body, fit),
        )
        return answer.to_json(), None

    return await _answer(request, here, body, make)


def _bounded(points: int, draws: int | None, fit: LoadedFit) -> None:
    """Refuse a question that would keep a core busy for long."""
    held = count(fit)
    if points * min(draws or held, held) > MAX_WORK:
        raise RefusalError(
            409, f"draws times points: at most {MAX_WORK} are allowed. Ask for fewer of either."
        )


def _common(here: Service, body: Any, fit: LoadedFit) -> dict[str, Any]:
    return {
        "propeller": _propeller(here, body.propeller, fit),
        "draws": body.draws,
        **setting_of(body, fit),
    }


def _alone(fit: LoadedFit, propeller: str) -> bool:
    """Whether a fit needs no look at the rest of the library for a propeller."""
    return propeller in fit.propellers and remembered(
        fit, "own propeller", propeller, lambda: not untaught(fit, propeller)
    )


def _propeller(here: Service, name: str, fit: LoadedFit) -> PropellerDraws:
    if not _alone(fit, name):
        return find_propeller(fit, name, here.settings.library)
    return remembered(fit, "propeller", name, lambda: propeller_draws(fit, name))


def setting_of(body: Any, fit: LoadedFit) -> dict[str, Any]:
    """Return what all questions share: interval, current limit, air, temperatures."""
    limit: LimitChoice = None if body.current_limit == "none" else body.current_limit
    return {
        "interval": body.interval,
        "current_limit": limit,
        "air": asked_air(fit, body.air_temperature, body.air_pressure, body.air_humidity),
        "winding_temperature_c": body.winding_temperature,
        "magnet_temperature_c": body.magnet_temperature,
    }


def _limits(body: Any, winding_c: float = WINDING_LIMIT_C) -> Limits:
    return Limits(body.max_propeller_speed_rpm, body.max_current_a, body.max_pack_current_a, winding_c)


def _supplied(body: Any) -> dict[str, Any]:
    """Return the supply of a question: a voltage or a pack, not both."""
    if (body.cells is None) != (body.capacity_mah is None):
        raise RefusalError(409, "A pack needs both cells and capacity_mah.")
    pack = None if body.cells is None else _pack_of(body.cells, body.capacity_mah, body)
    return {"voltage_v": body.voltage, "pack": pack, "motors": body.motors}


def _pack_of(cells: int, capacity_mah: float, body: Any) -> PackChoice:
    return PackChoice(cells, capacity_mah, body.charge, body.cell_resistance_ohm, body.pack_temperature)


async def _answer(
    request: Request, here: Service, body: Any, make: Callable[[LoadedFit], Answered]
) -> Response:
    file = here.shelf.pick(body.motor, body.fit)
    held = here.shelf.held(file)
    fit = await here.pool.run(here.shelf.load, file) if held is None else held
    files = [file]
    if not _alone(fit, body.propeller):
        # Then the answer rests on every propeller of the library too.
        files += [one for _, held in await here.pool.run(here.shelf.motors) for one in held]
    return await answer_of_fits(request, here, body, files, lambda: make(fit))


async def answer_of_fits(
    request: Request,
    here: Service,
    body: BaseModel,
    files: Sequence[FitFile],
    make: Callable[[], Answered],
) -> Response:
    """Answer 304, or what ``make`` returns in a thread, in the form that is wanted; it rests on ``files``."""
    form = form_of(request)
    tag = tag_of(request, (file.fit_id for file in files), question_text(body), form)
    # A question changes nothing, so a POST that asks is as cacheable as a GET, and says so.
    same = unchanged(request, tag)
    if same is not None:
        return same
    await here.readiness.wait()
    if form == "json":
        return await kept_json(here, tag, lambda: make()[0])

    def work() -> Response:
        document, table = make()
        if table is None:
            raise RefusalError(406, "Accept: this answer has no curves to put in a table; it is JSON.")
        content, media = encode(table(), form)
        # A table has no place for what its reader must know, so the codes go with it.
        codes = ", ".join(dict.fromkeys(warning["code"] for warning in document.get("warnings", ())))
        more = {WARNINGS: codes} if codes else {}
        return Response(content, media_type=media, headers=headers_of(tag) | more)

    return await here.pool.run(work)
