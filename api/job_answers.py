"""Shapes of jobs and uploads, for the interface's document."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from .answers import MaybeNumber, PageFields

# Any bytes: none violate the format. It lets generators of clients see a file; without a type, as OpenAPI 3.1
# has it, they see none, and generators of tests leave the part out.
_FILE = {"type": "string", "format": "binary"}
_OPTIONS: dict[str, Any] = {
    "method": {"type": "string", "enum": ["auto", "fast", "ensemble"], "default": "auto"},
    "seed": {"type": "integer", "minimum": 0, "maximum": 2**63 - 1, "default": 0},
    "draws": {"type": "integer", "minimum": 100, "maximum": 20_000, "default": 4000,
              "description": "Posterior draws to keep."},
}  # fmt: skip
_CAMPAIGN = _FILE | {
    "description": "The campaign file (TOML), or one archive (zip, tar.gz) of it and its logs."
}
_LOGS = {"type": "array", "items": _FILE, "description": "The raw logs, by the names the campaign uses."}


def _body(options: dict[str, Any]) -> dict[str, Any]:
    """Describe an upload: file by file, or one archive as a part or as the body itself."""
    form = {
        "type": "object",
        "properties": {"campaign": _CAMPAIGN, "logs": _LOGS, **options},
        "required": ["campaign"],
        "additionalProperties": False,
    }
    content: dict[str, Any] = {"multipart/form-data": {"schema": form}}
    # A body of its own is any bytes: there is no type that they could fail to be of.
    for media in ("application/zip", "application/gzip"):
        content[media] = {"schema": {"contentMediaType": media}}
    query = [
        {"name": name, "in": "query", "required": False, "schema": shape,
         "description": "Where the body is an archive itself; a field of a form comes before it."}
        for name, shape in options.items()
    ]  # fmt: skip
    return {"requestBody": {"required": True, "content": content}, "parameters": query}


UPLOAD_OF_CHECK = _body({})
UPLOAD_OF_HOLDOUT = _body(
    {
        "run": {"type": "string", "minLength": 1, "maxLength": 128, "description": "The run to leave out."},
        "leave": {
            "type": "string",
            "enum": ["run", "pair", "propeller", "voltage"],
            "description": "Leave out every one in turn; a pair is a motor with a propeller.",
        },
        **_OPTIONS,
        "draws": {"type": "integer", "minimum": 100, "maximum": 20_000, "default": 1600},
    }
)
UPLOAD_OF_FIT = _body(_OPTIONS)


# One event, as its reader gets it: OpenAPI 3.1 has no word of its own for the items of a stream.
EVENT: dict[str, Any] = {
    "type": "object",
    "description": "One event of the stream.",
    "properties": {
        "id": {"type": "string", "pattern": "^[0-9]+$", "description": "Its number, for Last-Event-ID."},
        "event": {"type": "string", "enum": ["state", "progress", "end"]},
        "data": {
            "type": "string",
            "contentMediaType": "application/json",
            "description": "`state`: state, why. `progress`: stage, progress. `end`: the job.",
        },
    },
    "required": ["id", "event", "data"],
}


class _Answer(BaseModel):
    model_config = ConfigDict(extra="allow")


class JobAnswer(_Answer):
    """A job."""

    job: str
    kind: Literal["fit", "check", "holdout"]
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    cancelling: bool = Field(description="It is to be cancelled and still runs.")
    stage: str
    progress: float = Field(ge=0.0, le=1.0, description="Share of the work that is done.")
    attempts: int = Field(description="A job whose worker was killed is tried once more.")
    created: str = Field(description="UTC, ISO 8601.")
    started: str | None
    finished: str | None
    options: dict[str, Any]
    result: dict[str, Any] | None = Field(
        description="As `motorfit fit --json` or `motorfit check --json`, once done."
    )
    problem: dict[str, Any] | None = Field(
        description="Why it failed: title, status, detail, faults, findings."
    )


class JobList(PageFields):
    """Jobs, newest first; results are left out."""

    jobs: list[JobAnswer]


class Curve(_Answer):
    """One channel of a log, thinned; rows count from 0, times are null for a table of steady points."""

    unit: str
    row: list[int]
    line: list[int] | None = Field(
        default=None,
        description="Its line in the file, as findings name rows; null for older curves.",
    )
    time_s: list[float] | None
    value: list[MaybeNumber]
    rows_held: int


class RunCurves(_Answer):
    """One run."""

    run: str
    motor: str
    kind: str
    propeller: str | None
    channels: dict[str, Curve]


class CurvesAnswer(_Answer):
    """The logs of a campaign."""

    runs: list[RunCurves]
