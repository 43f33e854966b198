"""One server process: ``python -m motorfit_api.process SOCKET``, with settings from the environment."""

from __future__ import annotations

import os
import socket
import sys
import threading

from . import logs
from .app import from_environment


def main() -> None:
    """Serve on a socket that was handed down, until told to end, or left alone."""
    import uvicorn

    logs.set_up()
    threading.Thread(target=_until_closed, daemon=True).start()
    config = uvicorn.Config(
        from_environment(),
        http="httptools",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        log_config=None,
        timeout_keep_alive=30,
        # Readers of events would otherwise hold the end up for as long as a job takes.
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=64 * 1024,
    )
    with socket.socket(fileno=int(sys.argv[1])) as listener:
        uvicorn.Server(config).run(sockets=[listener])


def _until_closed() -> None:
    # Not by the buffered stream: its lock would be held when this process comes to its own end.
    while os.read(0, 4096):
        pass
    # Whoever started this process is dead. At once: its successor waits for the port.
    os._exit(3)


if __name__ == "__main__":
    main()
