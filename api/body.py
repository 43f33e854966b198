"""Bodies that are too large are refused while they arrive, not after."""

from __future__ import annotations

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .limits import Limits
from .problems import RefusalError

UPLOADS = ("/v1/campaigns", "/v1/checks", "/v1/holdouts")


class BodyLimit:
    """Counts a body as it comes in, whether or not its length was announced."""

    def __init__(self, app: ASGIApp, limits: Limits) -> None:
        self.app = app
        self.limits = limits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on with a body that stops at the limit."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        upload = scope["path"] in UPLOADS
        most = self.limits.upload_bytes if upload else self.limits.question_bytes
        announced = dict(scope["headers"]).get(b"content-length", b"")
        # Digits only: int() would also take signs, underscores and digits of other scripts.
        if announced and not (announced.isdigit() and len(announced) < 19):
            raise RefusalError(400, "Content-Length is not a whole number.")
        if announced and int(announced) > most:
            raise _too_large(most)
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            if message["type"] == "http.request":
                seen += len(message.get("body", b""))
                if seen > most:
                    raise _too_large(most)
            return message

        await self.app(scope, counted, send)


def _too_large(most: int) -> RefusalError:
    return RefusalError(
        413, f"The body is larger than {most} bytes, the most this path takes.", {"Connection": "close"}
    )
