"""Files that are there whole or not at all, also after a crash or a power cut."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from motorfit.archive.errors import ArchiveError

# Inside the library, so that a rename never crosses file systems; the dot keeps them from being motors.
INCOMING = ".incoming"
PENDING = ".pending"
_ABANDONED_AFTER_S = 24 * 3600.0
_TRIES, _BETWEEN_TRIES_S = 10, 0.02


def sync_file(path: Path) -> None:
    """Force a file's content to the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(path: Path) -> None:
    """Force a folder's entries to the disk, where the system can (Windows cannot open a folder)."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except (PermissionError, IsADirectoryError):
        return
    try:
        os.fsync(handle)
    except OSError:  # some network file systems refuse; the rename itself stays atomic
        pass
    finally:
        os.close(handle)


@contextmanager
def transaction(root: Path) -> Iterator[Path]:
    """Yield a folder to fill with ``<motor>/<file>``; all of it then appears under ``root``, or nothing.

    The files are written and synced in ``.incoming``. One rename to ``.pending`` is the point of no return:
    a process killed before it leaves nothing, one killed after it leaves the last step to whoever opens the
    library next.

    Raises
    ------
    ArchiveError
        The library's folder cannot be made or written.
    """
    name = f"{os.getpid()}-{secrets.token_hex(8)}"
    try:
        for folder in (root, root / INCOMING, root / PENDING):
            folder.mkdir(parents=True, exist_ok=True)
        work = root / INCOMING / name
        work.mkdir()
    except OSError as error:
        raise ArchiveError(
            f"library {root}: cannot be written: {error.strerror}. "
            "Choose a folder you may write to with --library."
        ) from error
    try:
        yield work
        for file in sorted(work.rglob("*")):
            if file.is_file():
                sync_file(file)
            else:
                sync_folder(file)
        sync_folder(work)
        work.rename(root / PENDING / name)
        sync_folder(root / PENDING)
    except OSError as error:
        raise ArchiveError(
            f"library {root}: cannot be written: {error}. Check free space and access."
        ) from error
    finally:
        shutil.rmtree(work, ignore_errors=True)
    if not _arrived(root, root / PENDING / name):
        raise ArchiveError(
            f"library {root}: the fit is written but could not be moved from {PENDING}/{name} "
            "into the motors' folders. "
            "Give write access to those folders; the next command then finishes the move."
        )


def _arrived(root: Path, entry: Path) -> bool:
    """Move what was committed on; whether all of an entry's files are in place.

    Another process may be at the same entry, in the middle of it: what is left may be gone a moment later.
    """
    for _ in range(_TRIES):
        roll_forward(root)
        if not any(files for _, _, files in os.walk(entry)):  # which passes over folders that vanish
            return True
        time.sleep(_BETWEEN_TRIES_S)
    return False


def roll_forward(root: Path) -> None:
    """Move what was committed into its place; safe to run by several processes at once.

    What cannot be moved (a library that is read-only to this user, say) stays committed for the next who can.
    """
    try:
        committed = sorted((root / PENDING).iterdir())
    except OSError:
        return
    for entry in committed:
        # A file that has gone meanwhile was moved by another process, to the same place.
        with contextlib.suppress(OSError):
            _move_into_place(entry, root)


def _move_into_place(entry: Path, root: Path) -> None:
    for folder in sorted(entry.iterdir()):
        target = root / folder.name
        target.mkdir(exist_ok=True)
        for file in sorted(folder.iterdir()):
            with contextlib.suppress(FileNotFoundError):
                file.replace(target / file.name)
        sync_folder(target)
        with contextlib.suppress(OSError):
            folder.rmdir()
    sync_folder(root)
    with contextlib.suppress(OSError):
        entry.rmdir()


def sweep(root: Path) -> None:
    """Remove what killed writers left behind a day ago or longer."""
    horizon = time.time() - _ABANDONED_AFTER_S
    with contextlib.suppress(OSError):
        for entry in (root / INCOMING).iterdir():
            if entry.stat().st_mtime < horizon:
                shutil.rmtree(entry, ignore_errors=True)
