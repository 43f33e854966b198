"""Running the service: on the loopback interface, which nobody but this machine reaches."""

from __future__ import annotations

from pathlib import Path

LOOPBACK = "127.0.0.1"


def run(library: Path, port: int) -> None:
    """Serve a library until interrupted.

    Raises
    ------
    MotorfitError
        The port is taken or may not be used.
    """
    import socket

    import uvicorn

    from motorfit.errors import MotorfitError

    from .app import create_app

    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, port))
        except OSError as error:
            raise MotorfitError(f"port {port}: {error.strerror}. Choose a free one with --port.") from error
        config = uvicorn.Config(create_app(library), log_level="warning", server_header=False)
        uvicorn.Server(config).run(sockets=[listener])
