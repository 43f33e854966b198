"""Finding fits quickly, and keeping the last ones used in memory."""

from __future__ import annotations

import threading
from collections import OrderedDict
from pathlib import Path

from motorfit.archive.files import FitFile, fit_files, motor_names
from motorfit.archive.identity import is_fit_id, is_motor_id
from motorfit.archive.loaded import LoadedFit, load_file
from motorfit.archive.store import list_motors

from .problems import RefusalError


class Shelf:
    """A library as the routes see it; safe to use from several threads.

    Fits are kept in memory up to so many bytes: one takes some megabytes, and many where its replicas of long
    logs were asked for.
    """

    def __init__(self, library: Path, kept_bytes: int) -> None:
        self.library = library
        self._kept_bytes = kept_bytes
        self._loaded: OrderedDict[FitFile, LoadedFit] = OrderedDict()
        self._motor_of: dict[str, str] = {}
        self._lock = threading.Lock()

    def motors(self) -> tuple[tuple[str, tuple[FitFile, ...]], ...]:
        """Return every motor that has a fit, with its fits, oldest first."""
        found = ((motor, fit_files(self.library, motor)) for motor in list_motors(self.library))
        return tuple((motor, files) for motor, files in found if files)

    def fits(self, motor: str) -> tuple[FitFile, ...]:
        """Return a motor's fits, oldest first.

        Raises
        ------
        RefusalError
            404, the library holds no fit of it.
        """
        files = fit_files(self.library, motor) if is_motor_id(motor) else ()
        if not files:
            # A committed fit may still stand outside the motor's folder; a full look moves it in.
            known = is_motor_id(motor) and motor in list_motors(self.library)
            files = fit_files(self.library, motor) if known else ()
        if not files:
            raise RefusalError(
                404, f"motor {motor!r}: the library holds no fit of it. /v1/motors lists what it holds."
            )
        return files

    def pick(self, motor: str, fit_id: str | None = None) -> FitFile:
        """Return a motor's fit: the latest, or the one named; RefusalError 404 where there is none."""
        files = self.fits(motor)
        if fit_id is None:
            return files[-1]
        for file in files:
            if file.fit_id == fit_id:
                return file
        raise RefusalError(
            404, f"fit {fit_id!r}: the library holds no such fit of {motor}. "
            f"/v1/motors/{motor}/fits lists its fits."
        )  # fmt: skip

    def find(self, fit_id: str) -> FitFile:
        """Return the fit of an id, whichever motor it is of; RefusalError 404 where there is none."""
        if is_fit_id(fit_id):
            motors = motor_names(self.library)
            known = self._motor_of.get(fit_id)
            for motor in (known, *motors) if known in motors else motors:
                for file in fit_files(self.library, str(motor)):
                    if file.fit_id == fit_id:
                        self._motor_of[fit_id] = file.motor
                        return file
        raise RefusalError(
            404, f"fit {fit_id!r}: the library holds no such fit. /v1/motors lists what it holds."
        )

    def held(self, file: FitFile) -> LoadedFit | None:
        """Return a fit's content where it is in memory."""
        with self._lock:
            fit = self._loaded.get(file)
            if fit is not None:
                self._loaded.move_to_end(file)
            return fit

    def load(self, file: FitFile) -> LoadedFit:
        """Return a fit's content, from memory where it was used lately."""
        known = self.held(file)
        if known is not None:
            return known
        fit = load_file(file.path(self.library), file.motor, file.fit_id)
        with self._lock:
            self._loaded[file] = fit
            # Counted each time: what a fit reads on demand it keeps too.
            size = sum(map(_size, self._loaded.values()))
            while size > self._kept_bytes and len(self._loaded) > 1:
                size -= _size(self._loaded.popitem(last=False)[1])
        return fit


def _size(fit: LoadedFit) -> int:
    """Return how many bytes of arrays a fit holds at the moment."""
    groups = [group for group in tuple(vars(fit).values()) if isinstance(group, dict)]
    return sum(getattr(array, "nbytes", 0) for group in groups for array in tuple(group.values()))
