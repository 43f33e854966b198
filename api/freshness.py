"""Validators of answers (RFC 9110, section 13): what a caller already has need not be computed again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from fastapi import Request, Response

import motorfit

# Everything here may be asked again at once; only whether it has changed is to be asked.
CACHE = "private, no-cache"


def tag_of(request: Request, fits: Iterable[str], question: str = "", media: str = "") -> str:
    """Return a strong validator: which fits, which question, which version and which form of the answer.

    Fits are never changed after they are written, so their ids stand for their content.
    """
    parts = (motorfit.__version__, request.url.path, *fits, "?", question, media)
    return f'"{hashlib.sha256(chr(0).join(parts).encode()).hexdigest()[:32]}"'


def headers_of(tag: str) -> dict[str, str]:
    """Return the headers that belong to an answer with a validator."""
    return {"ETag": tag, "Cache-Control": CACHE, "Vary": "Accept, Authorization"}


def unchanged(request: Request, tag: str) -> Response | None:
    """Return 304 where the caller already has this answer, else None."""
    given = request.headers.get("if-none-match")
    if given is None:
        return None
    held = {part.strip().removeprefix("W/") for part in given.split(",")}
    return Response(status_code=304, headers=headers_of(tag)) if held & {tag, "*"} else None
