"""Running the service: where it listens, how many processes it has, and when it refuses to start."""

from __future__ import annotations

import errno
import os
import socket
import tempfile
import time
from collections.abc import Callable

from motorfit.errors import MotorfitError

from .settings import Settings
from .tokens import TokenStore

_TRIES, _PAUSE_S = 10, 0.1


def run(settings: Settings, port: int, *, processes: int = 1, workers: int = 1,
        ready: Callable[[], None] | None = None) -> None:  # fmt: skip
    """Serve a library until interrupted.

    Parameters
    ----------
    settings: where the library is and who may ask.
    port: TCP port.
    processes: servers that share the port.
    workers: processes that check and fit uploads; 0 for none here.
    ready: called once the port is held.

    Raises
    ------
    MotorfitError
        The port is taken or may not be used, or the address is public and there is no token.
    """
    from .jobs import Queue
    from .metrics import FOLDER_VARIABLE
    from .supervisor import Supervisor

    refuse_open_door(settings)
    with _listening(settings.host, port) as listener, tempfile.TemporaryDirectory() as counts:
        if ready is not None:
            ready()
        # Threads that each keep memory of their own for later would let a server grow for hours.
        lean = {"MALLOC_ARENA_MAX": os.environ.get("MALLOC_ARENA_MAX", "2")}
        supervisor = Supervisor({**settings.to_environment(), FOLDER_VARIABLE: counts, **lean})
        number = listener.fileno()
        for each in range(processes):
            supervisor.add(f"server-{each}", "motorfit_api.process", str(number), sockets=(number,))
        queue = Queue(settings.state)
        for each in range(workers):
            name = f"{socket.gethostname()}-{port}-{each}"
            # Held by a worker of this name before any is started: the whole service was killed with it.
            queue.give_back(name, "the service was killed", counts=False)
            supervisor.add(f"worker-{each}", "motorfit_api.worker", name)
        supervisor.run()


def refuse_open_door(settings: Settings) -> None:
    """Raise MotorfitError where the service would be reached from elsewhere and nobody has a token."""
    if settings.loopback or TokenStore(settings.state).list():
        return
    raise MotorfitError(
        f"host {settings.host}: others could reach the service there, and there is no token yet. Make one "
        "with `motorfit token create --scope write`, or leave --host out to serve this machine alone."
    )


def _listening(host: str, port: int) -> socket.socket:
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host.strip("[]"), port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except OSError as error:
        raise MotorfitError(f"host {host!r}: {error.strerror}. Give an address of this machine.") from error
    listener = socket.socket(family, kind, protocol)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    for left in reversed(range(_TRIES)):
        try:
            listener.bind(address)
            listener.listen(1024)
            break
        except OSError as error:
            # A service that was killed lets its port go a moment later.
            if error.errno == errno.EADDRINUSE and left:
                time.sleep(_PAUSE_S)
                continue
            listener.close()
            raise MotorfitError(f"port {port}: {error.strerror}. Choose a free one with --port.") from error
    return listener
