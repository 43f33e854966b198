"""What a service is told at its start, and how the processes of one service share it."""

from __future__ import annotations

import ipaddress
import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from .limits import Limits

VARIABLE = "MOTORFIT_SERVICE"
LOOPBACK = "127.0.0.1"
LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})


@dataclass(frozen=True)
class Settings:
    """Where the library is, who may ask, and what is allowed.

    Attributes
    ----------
    library: folder of fits.
    state: folder of the queue, uploads and tokens; on a local disk, since the queue is a database.
    host: address the service listens on.
    allow_hosts: names under which it may be asked, beside the loopback's own.
    require_token: ask everybody for a token, also on the loopback interface.
    anonymous_read: let anybody read; writing off the loopback always needs a token.
    limits: see `Limits`.
    """

    library: Path
    state: Path
    host: str = LOOPBACK
    allow_hosts: tuple[str, ...] = ()
    require_token: bool = False
    anonymous_read: bool = False
    limits: Limits = field(default_factory=Limits)

    @classmethod
    def of(cls, library: Path, state: Path | None = None, **others: Any) -> Settings:
        """Return settings with the state beside the fits unless told otherwise."""
        return cls(library=library, state=state or library / ".service", **others)

    @property
    def loopback(self) -> bool:
        """Whether only this machine reaches the service directly."""
        return is_loopback(self.host)

    def to_environment(self) -> dict[str, str]:
        """Return the variable that carries these settings to another process."""
        plain = asdict(self) | {"library": str(self.library), "state": str(self.state)}
        return {VARIABLE: json.dumps(plain)}

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """Return what `to_environment` was given; `MOTORFIT_LIBRARY` alone is enough too.

        Raises
        ------
        MotorfitError
            Neither variable is set.
        """
        if VARIABLE in environment:
            plain = json.loads(environment[VARIABLE])
            plain |= {
                "library": Path(plain["library"]),
                "state": Path(plain["state"]),
                "allow_hosts": tuple(plain["allow_hosts"]),
                "limits": Limits(**plain["limits"]),
            }
            return cls(**plain)
        if "MOTORFIT_LIBRARY" in environment:
            return cls.of(Path(environment["MOTORFIT_LIBRARY"]))
        from motorfit.errors import MotorfitError

        raise MotorfitError(
            f"{VARIABLE}: not set. Start the service with `motorfit serve`, or set MOTORFIT_LIBRARY."
        )


def is_loopback(host: str) -> bool:
    """Whether an address or name stands for this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
