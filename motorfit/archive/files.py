"""Which fits' files a library's folder holds: names, sizes and times, without opening any."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from motorfit.archive.errors import ArchiveError
from motorfit.archive.identity import is_fit_id, is_motor_id

SUFFIX = ".nc"


@dataclass(frozen=True, order=True)
class FitFile:
    """One fit's file; sorts by motor, then by age."""

    motor: str
    fit_id: str
    size_bytes: int
    modified_ns: int

    def path(self, root: Path) -> Path:
        """Return where the file stands in a library."""
        return fit_path(root, self.motor, self.fit_id)


def fit_path(root: Path, motor: str, fit_id: str) -> Path:
    """Return where a fit's file stands in a library."""
    return root / motor / f"{fit_id}{SUFFIX}"


def motor_names(root: Path) -> tuple[str, ...]:
    """Return the names of the folders that can be a motor's, sorted; empty where there is no library yet."""
    try:
        return tuple(
            sorted(entry.name for entry in root.iterdir() if is_motor_id(entry.name) and entry.is_dir())
        )
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except PermissionError as error:
        raise _no_access(root) from error


def fit_files(root: Path, motor: str) -> tuple[FitFile, ...]:
    """Return a motor's fits, oldest first."""
    found: list[FitFile] = []
    try:
        entries = list((root / motor).iterdir())
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except PermissionError as error:
        raise _no_access(root / motor) from error
    for entry in entries:
        if entry.suffix != SUFFIX or not is_fit_id(entry.stem):
            continue
        try:
            status = entry.stat()
        except FileNotFoundError:  # removed since the folder was read
            continue
        found.append(FitFile(motor, entry.stem, status.st_size, status.st_mtime_ns))
    return tuple(sorted(found))


def _no_access(folder: Path) -> ArchiveError:
    return ArchiveError(
        f"{folder}: may not be read. Ask its owner for access, or name another library with --library."
    )
