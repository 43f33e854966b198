"""What a path does not take is refused: a misspelt parameter would silently change nothing, and neither would
a body in another form.
"""

from __future__ import annotations

from collections import Counter
from functools import lru_cache

from fastapi import FastAPI, Request

from .problems import RefusalError


async def only_known(request: Request) -> None:
    """Raise RefusalError: 415 for a question that is not JSON, 422 for an unknown query parameter."""
    media = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if request.method == "POST" and media != "application/json" and not media.endswith("+json"):
        route = getattr(request.scope.get("route"), "path", "")
        taken = request.app.openapi()["paths"].get(route, {}).get("post", {}).get("requestBody", {})
        if "application/json" in taken.get("content", ()):
            raise RefusalError(415, f"Content-Type {media[:80]!r}: a question is application/json.")
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
    # None of them is a list: of several values all but one would be passed over without a word.
    given = Counter(name for name, _ in request.query_params.multi_items())
    twice = [name for name, times in given.items() if times > 1]
    if twice:
        raise RefusalError(
            422,
            f"query: {twice[0]!r} is given {given[twice[0]]} times; once is allowed.",
            faults=[(f"query.{name}", "given more than once") for name in twice],
        )


@lru_cache(maxsize=256)
def _known(app: FastAPI, path: str, method: str) -> frozenset[str]:
    """Return the names that the interface's document gives, which is what a caller can know."""
    operation = app.openapi()["paths"].get(path, {}).get(method, {})
    return frozenset(each["name"] for each in operation.get("parameters", ()) if each["in"] == "query")
