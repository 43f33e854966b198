"""The catalogue beside the files: an index in SQLite that may be deleted at any time.

The files are the truth. Every look at the catalogue is compared with the folder's entries (name, size,
time), and what is new, changed or gone is mended on the spot; a catalogue that is missing, damaged or locked
costs time, never an answer.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from motorfit.archive.files import FitFile, fit_path
from motorfit.archive.stored import StoredFit, describe

NAME = "catalogue.sqlite"
_VERSION = 1
_BUSY_S = 5.0
# Held by another process, read-only to this one, or a full disk: nothing is wrong with the catalogue itself.
_NOT_DAMAGED = frozenset(
    {
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_FULL,
    }
)
_TABLE = """
CREATE TABLE IF NOT EXISTS fits (
    motor TEXT NOT NULL, fit TEXT NOT NULL, size_bytes INTEGER NOT NULL, modified_ns INTEGER NOT NULL,
    facts TEXT NOT NULL, PRIMARY KEY (motor, fit)
) WITHOUT ROWID
"""

_Key = tuple[str, str]
_Row = tuple[str, str, int, int, str]


def look_up(root: Path, files: Iterable[FitFile]) -> tuple[StoredFit, ...]:
    """Describe fits' files, in the order given: from the catalogue where it is current, else from the files.

    Parameters
    ----------
    root: the library's folder.
    files: fits whose description is wanted. Rows of the same motors that have no file any more are removed.
    """
    wanted = list(files)
    motors = sorted({file.motor for file in wanted})
    rows = _read(root, motors)
    found: dict[_Key, StoredFit] = {}
    fresh: list[_Row] = []
    for file in wanted:
        row = rows.pop((file.motor, file.fit_id), None)
        fit = _from_row(root, file, row)
        if fit is None:
            fit = describe(root, file)
            # A file that cannot be read is looked at again next time: it may be mended or replaced meanwhile.
            if fit.problem is None:
                fresh.append(
                    (file.motor, file.fit_id, file.size_bytes, file.modified_ns, json.dumps(fit.facts()))
                )
        found[(file.motor, file.fit_id)] = fit
    gone = [key for key in rows if not fit_path(root, *key).exists()]
    if fresh or gone:
        _write(root, fresh, gone)
    return tuple(found[(file.motor, file.fit_id)] for file in wanted)


def rebuild(root: Path, files: Iterable[FitFile]) -> tuple[StoredFit, ...]:
    """Throw the catalogue away and make it anew from the files."""
    _discard(root)
    return look_up(root, files)


def _from_row(root: Path, file: FitFile, row: _Row | None) -> StoredFit | None:
    if row is None or (row[2], row[3]) != (file.size_bytes, file.modified_ns):
        return None
    try:
        return StoredFit.from_facts(root, file, json.loads(row[4]))
    except (ValueError, TypeError, KeyError):
        return None


def _read(root: Path, motors: list[str]) -> dict[_Key, _Row]:
    if not motors or not (root / NAME).is_file():
        return {}
    try:
        with _connection(root) as connection:
            marks = ",".join("?" * len(motors))
            query = f"SELECT motor, fit, size_bytes, modified_ns, facts FROM fits WHERE motor IN ({marks})"
            return {(row[0], row[1]): row for row in connection.execute(query, motors)}
    except sqlite3.DatabaseError as error:
        _give_up(root, error)
        return {}


def _write(root: Path, fresh: list[_Row], gone: list[_Key]) -> None:
    """Bring rows up to date; failing is allowed, since the next look mends it."""
    try:
        with _connection(root) as connection, connection:
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany("DELETE FROM fits WHERE motor = ? AND fit = ?", gone)
            connection.executemany("INSERT OR REPLACE INTO fits VALUES (?, ?, ?, ?, ?)", fresh)
    except sqlite3.DatabaseError as error:
        _give_up(root, error)


@contextmanager
def _connection(root: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(root / NAME, timeout=_BUSY_S, isolation_level=None)) as connection:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version == 0:
            connection.execute(_TABLE)
            connection.execute(f"PRAGMA user_version = {_VERSION}")
        elif version != _VERSION:
            raise sqlite3.DatabaseError(f"catalogue of version {version}")
        yield connection


def _give_up(root: Path, error: sqlite3.DatabaseError) -> None:
    """Answer from the files this time; a damaged catalogue is removed, so that the next look remakes it."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None or code & 0xFF not in _NOT_DAMAGED:
        _discard(root)


def _discard(root: Path) -> None:
    # The journal first: left beside a new database it would be played back into it.
    for name in (f"{NAME}-journal", f"{NAME}-wal", f"{NAME}-shm", NAME):
        with contextlib.suppress(OSError):
            (root / name).unlink(missing_ok=True)
