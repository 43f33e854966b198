"""A database file that other processes see only once its tables are in it."""

from __future__ import annotations

import contextlib
import os
import secrets
import sqlite3
from contextlib import closing
from pathlib import Path

from motorfit.errors import MotorfitError


class StateError(MotorfitError):
    """What the service itself has to remember cannot be read or written; ``full`` where the disk is."""

    full: bool = False


def made(path: Path, schema: str) -> None:
    """Make a database with its tables where there is none; readable by its owner alone.

    It is made beside its place and linked into it whole: a process that finds the file finds the tables too.
    Of several that make it at once, the first one's stays.

    Parameters
    ----------
    path
        Where it is to be; its folder is made with access for the owner alone.
    schema
        SQL statements, and the journal mode where it is to be kept in the file.

    Raises
    ------
    OSError, sqlite3.Error
        It cannot be written.
    """
    if path.is_file():
        return
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_name(f".{path.name}.{os.getpid()}-{secrets.token_hex(8)}")
    try:
        os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        with closing(sqlite3.connect(draft, isolation_level=None)) as base:
            base.executescript(schema)
        with contextlib.suppress(FileExistsError):
            os.link(draft, path)
    finally:
        for left in (draft, *(draft.with_name(f"{draft.name}-{kind}") for kind in ("wal", "shm", "journal"))):
            left.unlink(missing_ok=True)
