"""Names of motors and fits that are safe as names of folders and files.

A fit's id is ``<UTC time>-<random>-<number>``, e.g. ``20300102T030405.678901Z-9f86d081-1``. It sorts by time.
What stands before the last hyphen is the same for all motors fitted together: their draws share the bench's
draws, index by index.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from motorfit.archive.errors import ArchiveError

_MOTOR = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,127}")
_FIT = re.compile(r"(\d{8}T\d{6}\.\d{6}Z)-[0-9a-f]{8}-\d{1,4}")
_STAMP = "%Y%m%dT%H%M%S.%fZ"


def check_motor_id(motor: str) -> str:
    """Return a motor id that is also a safe folder name.

    Raises
    ------
    ArchiveError
        The id could lead out of the library or hide in it.
    """
    if not _MOTOR.fullmatch(motor):
        raise ArchiveError(
            f"motor id {motor!r}: allowed are up to 128 letters, digits, '.', '_' and '-', "
            "not starting with '.'. Rename the motor in the campaign file, or check the spelling."
        )
    return motor


def is_motor_id(name: str) -> bool:
    """Whether a folder's name can be a motor's."""
    return _MOTOR.fullmatch(name) is not None


def is_fit_id(name: str) -> bool:
    """Whether a text has the form of a fit's id."""
    return _FIT.fullmatch(name) is not None


def check_fit_id(fit_id: str) -> str:
    """Return a text that has the form of a fit's id.

    Raises
    ------
    ArchiveError
        It has another form.
    """
    if not is_fit_id(fit_id):
        raise ArchiveError(
            f"fit id {fit_id!r}: an id looks like 20300102T030405.678901Z-9f86d081-1. "
            "Leave it out for the latest fit, or take one from the list of the motor's fits."
        )
    return fit_id


def campaign_fit_of(fit_id: str) -> str:
    """Return the part of a fit's id that all motors fitted together share."""
    return check_fit_id(fit_id).rsplit("-", 1)[0]


def new_campaign_fit(known: Iterable[str] = (), now: datetime | None = None) -> str:
    """Return a new shared part of fit ids: unique between processes, sorting after every id in ``known``.

    A clock that was set back would otherwise let an old fit answer as the latest.
    """
    moment = datetime.now(UTC) if now is None else now.astimezone(UTC)
    latest = max((match[1] for name in known if (match := _FIT.fullmatch(name))), default="")
    if moment.strftime(_STAMP) <= latest:
        moment = datetime.strptime(latest, _STAMP).replace(tzinfo=UTC) + timedelta(microseconds=1)
    return f"{moment.strftime(_STAMP)}-{secrets.token_hex(4)}"
