"""What was believed before the runs and after them, parameter by parameter."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from motorfit.answers.priors import prior_table

from .answers import MaybeNumber, Point
from .freshness import tag_of, unchanged
from .routes_library import NOT_MODIFIED, READ, FitId, IntervalWanted, kept_json
from .service import Here

router = APIRouter(tags=["library"])


class Shares(BaseModel):
    """Shares of the draws in bins between ``edges``."""

    edges: list[MaybeNumber]
    posterior: list[MaybeNumber]
    prior: list[MaybeNumber]


class Belief(BaseModel):
    """One parameter before and after, in ``unit``."""

    model_config = ConfigDict(extra="allow")
    symbol: str
    unit: str
    meaning: str
    prior: Point
    posterior: Point
    shares: Shares | None = Field(description="Null where draws are not finite or all alike.")


class BeliefsAnswer(BaseModel):
    """Parameters that have both a prior and a posterior."""

    motor: str
    fit: str
    interval: float
    parameters: dict[str, Belief]


@router.get(
    "/v1/fits/{fit}/beliefs",
    summary="Prior and posterior of each parameter, side by side",
    responses={200: {"model": BeliefsAnswer}, **NOT_MODIFIED, **READ},
)
async def fit_beliefs(request: Request, here: Here, fit: FitId, interval: IntervalWanted = 0.9) -> Response:
    """Answer with intervals and shares of draws, before the runs and after."""
    file = here.shelf.find(fit)
    tag = tag_of(request, (file.fit_id,), str(interval))
    same = unchanged(request, tag)
    if same is not None:
        return same

    def make() -> dict[str, Any]:
        table = prior_table(here.shelf.load(file), interval)
        return {"motor": file.motor, "fit": file.fit_id, "interval": interval, "parameters": table}

    return await kept_json(here, tag, make)
