"""`motorfit serve`: the HTTP API, for this machine only."""

from __future__ import annotations

from typing import Annotated

import typer

from motorfit.cli.options import Library, library_folder
from motorfit.cli.output import say


def serve(
    library: Library = None,
    port: Annotated[
        int, typer.Option("--port", min=1, max=65535, help="TCP port on the loopback interface.")
    ] = 8765,
) -> None:
    """Serve a library over HTTP, to this machine.

    Read-only and on the loopback interface.

    \b
    Example:  motorfit serve --library ./fits
              curl http://127.0.0.1:8765/v1/motors
    """
    from motorfit_api.server import run

    folder = library_folder(library)
    say(f"Serving {folder} at http://127.0.0.1:{port} (stop with Ctrl+C)")
    run(folder, port)
