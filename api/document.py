"""The interface's own document (OpenAPI 3.1), with what the framework leaves out."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from .problems import Problem

DESCRIPTION = """\
Posteriors of small brushless motors and their propellers, and what follows from them.

Answers are the commands' own JSON. Units stand in names (`voltage_v`) or beside values (`unit`). Where there
is no finite number, the value is null. Errors are problem details (RFC 9457). Predictions warn, they never
certify; local rules and licensed practice come first.
"""
_TAGS = [
    {"name": "library", "description": "What the library holds."},
    {"name": "questions", "description": "What a motor will do; asking changes nothing."},
    {"name": "jobs", "description": "Uploads that are checked or fitted by a worker."},
    {"name": "operation", "description": "For those who run the service."},
]


def complete(app: FastAPI) -> None:
    """Let the application describe itself with problems, tokens and conditional headers."""

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            schema = get_openapi(
                title=app.title,
                version=app.version,
                description=app.description,
                routes=app.routes,
                tags=_TAGS,
                license_info=None,
            )
            parts = schema.setdefault("components", {})
            shapes = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
            parts.setdefault("schemas", {}).update(shapes.pop("$defs", {}))
            parts["schemas"]["Problem"] = shapes
            for unused in ("HTTPValidationError", "ValidationError"):
                parts["schemas"].pop(unused, None)
            parts["securitySchemes"] = {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "Made with `motorfit token create`. Not needed on the loopback interface.",
                }
            }
            schema["security"] = [{}, {"token": []}]
            for path in schema["paths"].values():
                for operation in path.values():
                    _conditional(operation)
                    for parameter in operation.get("parameters", ()):
                        _without_null(parameter)
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]


def _without_null(parameter: dict[str, Any]) -> None:
    """A header or query parameter is there or not; it has no way to say null."""
    shape = parameter["schema"]
    some = [each for each in shape.get("anyOf", ()) if each.get("type") != "null"]
    if len(some) == 1:
        del shape["anyOf"]
        shape.update(some[0])


def _conditional(operation: dict[str, Any]) -> None:
    answers = operation["responses"]
    if "304" not in answers:
        return
    operation.setdefault("parameters", []).append(
        {
            "name": "If-None-Match",
            "in": "header",
            "required": False,
            "schema": {"type": "string"},
            "description": "ETag of an answer already held: then 304, without computing.",
        }
    )
    answers["200"]["headers"] = {
        "ETag": {
            "schema": {"type": "string"},
            "description": "Names this answer: fits, question and version.",
        }
    }
