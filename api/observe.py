"""The outermost layer: ids, security headers, HEAD, logs and metrics, and the last net for errors."""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Iterable

from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .logs import NAME
from .metrics import Metrics
from .problems import answer_of

_LOG = logging.getLogger(NAME)
_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)
_POLICY = (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'")


class Observe:
    """Wraps the whole service."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self.app = app
        self.metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, whatever happens inside."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = time.perf_counter()
        scope["request_id"] = request = secrets.token_hex(8)
        method = scope["method"]
        bodiless = method == "HEAD"
        if bodiless:
            scope["method"] = "GET"
        status, size, started, ended = 0, 0, False, False

        async def sent(message: Message) -> None:
            nonlocal status, size, started, ended
            if message["type"] == "http.response.start":
                started, status = True, message["status"]
                message["headers"] = _with_headers(message.get("headers", ()), request)
            elif message["type"] == "http.response.body":
                size += len(message.get("body", b""))
                ended = not message.get("more_body", False)
                if bodiless:
                    message = {**message, "body": b""}
            await send(message)

        try:
            await self.app(scope, receive, sent)
        except ClientDisconnect:
            pass  # in the middle of its upload; nothing of it is kept, and nobody is left to be told
        except Exception as error:
            if started:
                # Half an answer is out; all that is left is to break the connection.
                _LOG.error("fault", extra={"request": request, "path": scope["path"]}, exc_info=error)
                raise
            await answer_of(Request(scope), error)(scope, receive, sent)
        finally:
            self._tell(scope, method, status if ended else 499, size, time.perf_counter() - begun)

    def _tell(self, scope: Scope, method: str, status: int, size: int, seconds: float) -> None:
        route = getattr(scope.get("route"), "path", "none")
        self.metrics.count(method if len(method) < 10 else "other", route, status, seconds)
        if _LOG.isEnabledFor(logging.INFO):
            _LOG.info(
                "request",
                extra={
                    "request": scope["request_id"],
                    "method": method,
                    "path": scope["path"][:200],
                    "route": route,
                    "status": status,
                    "bytes": size,
                    "ms": round(1e3 * seconds, 2),
                    "caller": scope.get("caller", "refused"),
                },
            )


def _with_headers(given: Iterable[tuple[bytes, bytes]], request: str) -> list[tuple[bytes, bytes]]:
    headers = list(given)
    names = {name.lower() for name, _ in headers}
    headers += [pair for pair in (*_HEADERS, _POLICY) if pair[0] not in names]
    headers.append((b"x-request-id", request.encode()))
    return headers
