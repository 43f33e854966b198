"""The application: read-only routes over one library. No number is computed here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from fastapi import FastAPI
from fastapi import Path as PathParameter
from fastapi.responses import JSONResponse

import motorfit
from motorfit.answers.show import summarise
from motorfit.archive.errors import NotFoundError
from motorfit.archive.identity import is_motor_id
from motorfit.archive.store import list_fits, list_motors, load_fit

from . import problems

MotorId = Annotated[str, PathParameter(description="Id of a motor in the library.", examples=["tern-2807"])]


def create_app(library: Path) -> FastAPI:
    """Return the service over a library's folder, which need not exist yet."""
    app = FastAPI(
        title="motorfit",
        version=motorfit.__version__,
        description="Posteriors of brushless motors, read-only.",
        openapi_url="/v1/openapi.json",
        # The pages that would show it fetch scripts from elsewhere; this service works offline.
        docs_url=None,
        redoc_url=None,
    )
    problems.install(app)

    @app.get("/healthz", summary="Whether the service answers")
    def healthz() -> dict[str, str]:
        return {"status": "ok", "version": motorfit.__version__}

    @app.get("/v1/motors", summary="Motors that have a fit")
    def motors() -> dict[str, Any]:
        return {
            "motors": [
                {"motor": motor, "fits": len(list_fits(library, motor))} for motor in list_motors(library)
            ]
        }

    @app.get("/v1/motors/{motor}", summary="A motor's parameters, as `motorfit show --json`")
    def motor_summary(motor: MotorId) -> JSONResponse:
        return JSONResponse(summarise(load_fit(library, _known(motor))).to_json())

    @app.get("/v1/motors/{motor}/fits", summary="A motor's fits, oldest first")
    def motor_fits(motor: MotorId) -> dict[str, Any]:
        fits = list_fits(library, _known(motor))
        return {"motor": motor, "fits": [fit.to_json() for fit in fits]}

    def _known(motor: str) -> str:
        if not is_motor_id(motor) or motor not in list_motors(library):
            raise NotFoundError(
                f"motor {motor!r}: the library holds no fit of it. /v1/motors lists what it holds."
            )
        return motor

    return app
