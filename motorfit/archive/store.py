"""Saving fits to a library and loading them again."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from motorfit.archive import catalogue, netcdf
from motorfit.archive.durable import roll_forward, sweep, transaction
from motorfit.archive.errors import ArchiveError, NotFoundError
from motorfit.archive.files import FitFile, fit_files, fit_path, motor_names
from motorfit.archive.identity import check_fit_id, check_motor_id, new_campaign_fit
from motorfit.archive.layout import FORMAT, groups_of
from motorfit.archive.loaded import LoadedFit, load_file
from motorfit.archive.stored import StoredFit
from motorfit.archive.text import to_attributes

if TYPE_CHECKING:
    from motorfit.inference.result import FitResult, MotorPosterior

_SHOWN = 12


def check_writable(library: Path) -> None:
    """Make sure, before long work, that fits can be stored; nothing is written or made.

    Raises
    ------
    ArchiveError
        They cannot.
    """
    place = library
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise ArchiveError(
            f"library {library}: {place} is not a folder. Name another library with --library."
        )
    if not os.access(place, os.W_OK | os.X_OK):
        raise ArchiveError(
            f"library {library}: {place} may not be written. Choose a folder you may write to with --library."
        )


def save_fit(library: Path, result: FitResult) -> tuple[StoredFit, ...]:
    """Store the posteriors of all motors of a campaign: all of them, or none.

    Parameters
    ----------
    library: the library's folder, made where there is none.
    result: the fit. Its motors are stored under ids that share all but the last part.

    Raises
    ------
    ArchiveError
        The library cannot be written, or the result does not fit the layout. Nothing is stored then.
    """
    for posterior in result.motors:
        check_motor_id(posterior.motor)
    roll_forward(library)
    sweep(library)
    known = [file.fit_id for posterior in result.motors for file in fit_files(library, posterior.motor)]
    shared = new_campaign_fit(known)
    names = {p.motor: f"{shared}-{number}" for number, p in enumerate(result.motors, start=1)}
    with transaction(library) as work:
        for posterior in result.motors:
            folder = work / posterior.motor
            folder.mkdir()
            path = fit_path(work, posterior.motor, names[posterior.motor])
            netcdf.write_file(path, groups_of(posterior), _root_attributes(posterior))
    saved = [file for motor, fit in names.items() for file in fit_files(library, motor) if file.fit_id == fit]
    return catalogue.look_up(library, saved)


def load_fit(library: Path, motor: str, fit_id: str | None = None) -> LoadedFit:
    """Load a motor's fit: the latest, or the one named.

    Raises
    ------
    NotFoundError
        The library holds no such motor or fit; the message names what it holds.
    ArchiveError
        The file is damaged, or an id is malformed.
    """
    check_motor_id(motor)
    if fit_id is not None:
        check_fit_id(fit_id)
    roll_forward(library)
    held = [file.fit_id for file in fit_files(library, motor)]
    if not held:
        raise NotFoundError(
            f"motor {motor!r}: library {library} holds no fit of it. "
            f"It holds {_listed(list_motors(library))}. "
            "Fit a campaign with this motor, or name another library with --library."
        )
    chosen = held[-1] if fit_id is None else fit_id
    if chosen not in held:
        raise NotFoundError(
            f"fit {chosen!r}: library {library} holds no such fit of {motor}. "
            f"It holds {_listed(held[::-1])}. Leave the fit out for the latest."
        )
    return load_file(fit_path(library, motor, chosen), motor, chosen)


def list_motors(library: Path) -> tuple[str, ...]:
    """Return the ids of the motors that have a fit, sorted; empty where the library does not exist yet."""
    roll_forward(library)
    return tuple(motor for motor in motor_names(library) if fit_files(library, motor))


def list_fits(library: Path, motor: str | None = None) -> tuple[StoredFit, ...]:
    """Return the fits of one motor, or of all, by motor and oldest first.

    A file that cannot be read is listed too, with its ``problem``.

    Raises
    ------
    ArchiveError
        The motor's id is malformed.
    """
    roll_forward(library)
    motors = motor_names(library) if motor is None else (check_motor_id(motor),)
    return catalogue.look_up(library, _files(library, motors))


def find_fit(library: Path, fit_id: str) -> StoredFit:
    """Return the fit of an id, whichever motor it is of.

    Raises
    ------
    NotFoundError
        The library holds no such fit.
    ArchiveError
        The id is malformed.
    """
    check_fit_id(fit_id)
    roll_forward(library)
    for file in _files(library, motor_names(library)):
        if file.fit_id == fit_id:
            return catalogue.look_up(library, [file])[0]
    raise NotFoundError(
        f"fit {fit_id!r}: library {library} holds no such fit. List the fits of a motor for their ids."
    )


def rebuild_catalogue(library: Path) -> tuple[StoredFit, ...]:
    """Make the catalogue anew from the files, and return every fit."""
    roll_forward(library)
    return catalogue.rebuild(library, _files(library, motor_names(library)))


def _files(library: Path, motors: tuple[str, ...]) -> list[FitFile]:
    return [file for motor in motors for file in fit_files(library, motor)]


def _root_attributes(posterior: MotorPosterior) -> dict[str, Any]:
    if "motor" in posterior.attributes and posterior.attributes["motor"] != posterior.motor:
        raise ArchiveError(
            f"motor {posterior.motor!r}: its attributes name {posterior.attributes['motor']!r}; not stored."
        )
    return to_attributes({**posterior.attributes, "motor": posterior.motor, "layout_version": FORMAT})


def _listed(names: tuple[str, ...] | list[str]) -> str:
    if not names:
        return "none"
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more


__all__ = [
    "ArchiveError",
    "LoadedFit",
    "NotFoundError",
    "StoredFit",
    "check_writable",
    "find_fit",
    "list_fits",
    "list_motors",
    "load_fit",
    "rebuild_catalogue",
    "save_fit",
]
