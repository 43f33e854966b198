"""Who may ask what: names under which the service answers, where a browser came from, tokens and scopes.

A browser on this machine can be made to send requests by any page it shows. Three things stop that: the
`Host` header must be a name of this service (a page whose own name was pointed at this machine is refused), a
request that writes must not come from another origin, and no response allows reading across origins.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.types import ASGIApp, Receive, Scope, Send

from .problems import RefusalError
from .settings import LOOPBACK_NAMES, Settings
from .tokens import Token, TokenStore

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN_PATHS = frozenset({"/", "/healthz", "/v1/openapi.json"})
PAGE = "/page/"
"""Files of the page: nothing of the library is in them, and who has no token must be able to enter one."""
WRITING = ("/v1/campaigns", "/v1/checks", "/v1/holdouts", "/v1/jobs")
_FORWARDED = (b"x-forwarded-for", b"forwarded", b"x-real-ip", b"x-forwarded-host")
_ASK = {"WWW-Authenticate": 'Bearer realm="motorfit"'}


class Access:
    """Lets a request through or refuses it, before anything else looks at it."""

    def __init__(self, app: ASGIApp, settings: Settings, tokens: TokenStore) -> None:
        self.app = app
        self.settings = settings
        self.tokens = tokens
        self._names = LOOPBACK_NAMES | {name.lower() for name in settings.allow_hosts}
        self._loopback = settings.loopback
        self._any_name = not self._loopback and not settings.allow_hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with ``scope["caller"]`` set to who asks."""
        if scope["type"] == "http":
            scope["caller"] = self._caller(scope)
        await self.app(scope, receive, send)

    def _caller(self, scope: Scope) -> str:
        headers = dict(scope["headers"])
        name = _host_name(headers.get(b"host", b"").decode("latin-1"))
        if not self._any_name and name not in self._names:
            raise RefusalError(
                421,
                f"This service does not answer as {name!r}. Its owner can allow a name with --allow-host.",
            )
        path, method = scope["path"], scope["method"]
        if method not in SAFE:
            _same_origin(headers)
        if path in OPEN_PATHS or path.startswith(PAGE):
            return "anonymous"
        writes = method not in SAFE and path.startswith(WRITING)
        local = (
            self._loopback and name in LOOPBACK_NAMES and not any(header in headers for header in _FORWARDED)
        )
        token = self._token(headers)
        if token is not None:
            if writes and not token.writes:
                raise RefusalError(403, "This token may read only. Writing needs a token of scope write.", {
                    "WWW-Authenticate": 'Bearer realm="motorfit", error="insufficient_scope", scope="write"'
                })  # fmt: skip
            return f"token:{token.id}"
        if local and not self.settings.require_token:
            return "local"
        if self.settings.anonymous_read and not writes:
            return "anonymous"
        raise RefusalError(401, "A token is needed: Authorization: Bearer TOKEN.", _ASK)

    def _token(self, headers: dict[bytes, bytes]) -> Token | None:
        given = headers.get(b"authorization")
        if given is None:
            return None
        kind, _, text = given.decode("latin-1").partition(" ")
        token = self.tokens.check(text.strip()) if kind.lower() == "bearer" else None
        if token is None:
            raise RefusalError(
                401,
                "The token is not known. It may have been revoked.",
                {"WWW-Authenticate": 'Bearer realm="motorfit", error="invalid_token"'},
            )
        return token


def _host_name(host: str) -> str:
    """Return the name of a Host header without its port."""
    host = host.strip().lower()
    if host.startswith("["):
        return host[: host.find("]") + 1]
    return host.rsplit(":", 1)[0] if ":" in host else host


def _same_origin(headers: dict[bytes, bytes]) -> None:
    """Refuse what a page of another origin made the browser send."""
    origin = headers.get(b"origin")
    host = headers.get(b"host", b"").decode("latin-1").lower()
    foreign = headers.get(b"sec-fetch-site", b"none") in (b"cross-site", b"same-site")
    if origin is not None:
        foreign = foreign or _netloc(origin.decode("latin-1")) != host
    if foreign:
        raise RefusalError(403, "Requests from pages of another origin are refused.")


def _netloc(origin: str) -> str:
    try:
        return urlsplit(origin).netloc.lower()
    except ValueError:
        return ""
