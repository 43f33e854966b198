"""`motorfit serve`: the HTTP API."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motorfit.cli.options import Library, library_folder
from motorfit.cli.output import say

State = Annotated[
    Path | None,
    typer.Option(
        "--state",
        metavar="DIR",
        file_okay=False,
        help="Queue, uploads and tokens, on a local disk. [default: .service in the library]",
        show_default=False,
    ),
]


def serve(
    library: Library = None,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="TCP port.")] = 8765,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; beyond this machine only with a token.")
    ] = "127.0.0.1",
    allow_host: Annotated[
        list[str] | None,
        typer.Option(
            "--allow-host", metavar="NAME", help="A name the service is asked by, behind a proxy. Repeatable."
        ),
    ] = None,
    processes: Annotated[int, typer.Option("--processes", min=1, max=64, help="Processes that answer.")] = 1,
    workers: Annotated[
        int, typer.Option("--workers", min=0, max=64, help="Processes that check and fit uploads.")
    ] = 1,
    require_token: Annotated[
        bool, typer.Option("--require-token", help="Ask for a token on this machine too.")
    ] = False,
    anonymous_read: Annotated[
        bool, typer.Option("--anonymous-read", help="Let anybody read; writing still needs a token.")
    ] = False,
    state: State = None,
) -> None:
    """Serve a library over HTTP.

    To this machine alone unless --host says otherwise, which needs a token (`motorfit token create`).

    \b
    Example:  motorfit serve --library ./fits
              curl http://127.0.0.1:8765/v1/motors
    """
    from motorfit_api.server import run
    from motorfit_api.settings import Settings

    folder = library_folder(library)
    settings = Settings.of(
        folder,
        state,
        host=host,
        allow_hosts=tuple(allow_host or ()),
        require_token=require_token,
        anonymous_read=anonymous_read,
    )
    place = f"[{host}]" if ":" in host and not host.startswith("[") else host
    run(
        settings,
        port,
        processes=processes,
        workers=workers,
        ready=lambda: say(f"Serving {folder} at http://{place}:{port} (stop with Ctrl+C)"),
    )
