"""The page: its files from this package, the plotting library's script from its own."""

from __future__ import annotations

import gzip
import hashlib
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response

from .problems import RefusalError

router = APIRouter(include_in_schema=False)

FOLDER = Path(__file__).parent / "page"
PLOT_PATH = "/page/plot-{tag}.js"
# Everything comes from this service. Colours and places of plots are set element by element, which needs
# style attributes; they can run nothing.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; "
    "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_MEDIA = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
_NAME = re.compile(r"[a-z][a-z0-9-]*\.(?:css|js|svg)")


@router.get("/")
def page(request: Request) -> Response:
    """Answer with the one document; the views are drawn in it."""
    text = (FOLDER / "index.html").read_text(encoding="utf-8")
    text = text.replace("/page/plot.js", PLOT_PATH.format(tag=_plot()[0]))
    return _file(request, text.encode(), ".html")


@router.get("/page/{name}")
def part(request: Request, name: str) -> Response:
    """Answer with a style sheet or a module."""
    if name.startswith("plot-"):
        return _plot_script(request, name)
    path = FOLDER / name
    if not _NAME.fullmatch(name) or not path.is_file():
        raise RefusalError(404, "The page has no such part.")
    return _file(request, path.read_bytes(), path.suffix)


def _file(request: Request, content: bytes, suffix: str) -> Response:
    tag = f'"{hashlib.sha256(content).hexdigest()[:20]}"'
    # Asked for anew each time, sent only when it changed: a new version is never mixed with an old one.
    headers = {"ETag": tag, "Cache-Control": "no-cache", "Content-Security-Policy": POLICY}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=_MEDIA[suffix], headers=headers)


@lru_cache(maxsize=1)
def _plot() -> tuple[str, bytes, Path]:
    """Return the plotting script's tag, the script packed, and where it lies."""
    import importlib.util

    found: Any = importlib.util.find_spec("plotly")
    path = Path(found.origin).parent / "package_data" / "plotly.min.js"
    content = path.read_bytes()
    return hashlib.sha256(content).hexdigest()[:16], gzip.compress(content, 6, mtime=0), path


def _plot_script(request: Request, name: str) -> Response:
    tag, packed, path = _plot()
    if f"/page/{name}" != PLOT_PATH.format(tag=tag):
        raise RefusalError(404, "The page has no such part.")
    headers = {"Cache-Control": "public, max-age=31536000, immutable", "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(packed, media_type=_MEDIA[".js"], headers=headers | {"Content-Encoding": "gzip"})
    return Response(path.read_bytes(), media_type=_MEDIA[".js"], headers=headers)
