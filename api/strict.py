"""Query parameters that a path does not know are refused: a misspelt one would silently change nothing."""

from __future__ import annotations

from functools import lru_cache

from fastapi import FastAPI, Request

from .problems import RefusalError


async def only_known(request: Request) -> None:
    """Raise RefusalError 422 for a query parameter that the route does not declare."""
    if not request.scope["query_string"]:
        return
    known = _known(request.app, getattr(request.scope.get("route"), "path", ""), request.method.lower())
    unknown = [name for name in request.query_params if name not in known]
    if unknown:
        allowed = ", ".join(sorted(known)) or "none here"
        raise RefusalError(
            422,
            f"query: {unknown[0][:80]!r} is not known; allowed: {allowed}.",
            faults=[(f"query.{name[:80]}", "not known") for name in unknown[:20]],
        )


@lru_cache(maxsize=256)
def _known(app: FastAPI, path: str, method: str) -> frozenset[str]:
    """Return the names that the interface's document gives, which is what a caller can know."""
    operation = app.openapi()["paths"].get(path, {}).get(method, {})
    return frozenset(each["name"] for each in operation.get("parameters", ()) if each["in"] == "query")
