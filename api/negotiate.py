"""Which form of an answer a caller wants (RFC 9110, section 12.5.1)."""

from __future__ import annotations

from fastapi import Request

from .problems import RefusalError

MEDIA = {
    "json": "application/json",
    "csv": "text/csv; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
    "netcdf": "application/x-netcdf",
}
FORMS = tuple(MEDIA)
_ALIASES = {
    "application/json": "json",
    "text/csv": "csv",
    "application/vnd.apache.parquet": "parquet",
    "application/x-parquet": "parquet",
    "application/x-netcdf": "netcdf",
    "application/netcdf": "netcdf",
    "application/x-netcdf4": "netcdf",
    "application/*": "json",
    "text/*": "csv",
    "*/*": "json",
}


def form_of(request: Request, named: str | None = None) -> str:
    """Return ``json``, ``csv``, ``parquet`` or ``netcdf``: the one named, else by the Accept header.

    Raises
    ------
    RefusalError
        406, none of the accepted media types can be given.
    """
    if named is not None:
        return named
    accept = request.headers.get("accept", "*/*")
    if accept in ("*/*", "application/json", ""):
        return "json"
    best: tuple[float, int, int] | None = None
    chosen = "json"
    refused = {kind for kind, quality in _parts(accept) if quality == 0.0}
    for place, (kind, quality) in enumerate(_parts(accept)):
        form = _ALIASES.get(kind)
        if form is None or quality <= 0.0 or MEDIA[form].split(";")[0] in refused:
            continue
        rank = (quality, -kind.count("*"), -place)
        if best is None or rank > best:
            best, chosen = rank, form
    if best is None:
        offered = ", ".join(media.split(";")[0] for media in MEDIA.values())
        raise RefusalError(406, f"Accept: none of these can be given. Offered are {offered}.")
    return chosen


def _parts(accept: str) -> list[tuple[str, float]]:
    found = []
    for part in accept.lower().split(","):
        kind, *parameters = (piece.strip() for piece in part.split(";"))
        quality = 1.0
        for parameter in parameters:
            name, _, value = parameter.partition("=")
            if name.strip() == "q":
                try:
                    quality = float(value)
                except ValueError:
                    quality = 0.0
        found.append((kind, quality))
    return found
