"""Whether a disk is full, which no input is to blame for."""

from __future__ import annotations

import errno
import shutil
from pathlib import Path

NO_SPACE = 28
"""Exit code of a job that found the disk full: then there is no room to write down why either."""
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
_NOTHING_BYTES = 256 * 1024
"""Libraries that write databases and netCDF need some pages at once, and do not say why they failed."""


def free_bytes(*places: Path) -> int:
    """Return the least space [bytes] that is free where the places are, or are to be made."""
    return min(shutil.disk_usage(_there(place)).free for place in places)


def is_full(error: BaseException, *places: Path) -> bool:
    """Return whether an error came of a full disk.

    Parameters
    ----------
    error
        What was raised; its causes are looked at too.
    places
        Folders that were being written: where next to nothing is free there, that is the reason as well.
    """
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, OSError) and seen.errno in _FULL:
            return True
        seen = seen.__cause__ or seen.__context__
    try:
        return bool(places) and free_bytes(*places) < _NOTHING_BYTES
    except OSError:
        return False


def _there(place: Path) -> Path:
    """The nearest folder that exists."""
    whole = place.resolve()
    return next((folder for folder in (whole, *whole.parents) if folder.exists()), whole)
