"""Reading logs from netCDF files, classic or version 4."""

from __future__ import annotations

import re
import threading

import numpy as np

from motorfit.bench.faults import listed
from motorfit.bench.rawtable import RawTable, Remark
from motorfit.bench.textlog import UnreadableLogError

__all__ = ["LOCK", "read_netcdf"]

LOCK = threading.RLock()
"""Held by whoever is inside netCDF-C, which is not thread-safe: one lock for all of this process."""

_SINCE = re.compile(r"(\w+) since .*", re.IGNORECASE)


def read_netcdf(content: bytes) -> RawTable:
    """The variables of a netCDF file along its longest dimension, as columns; units by their attribute.

    Raises `UnreadableLogError` where the file is damaged or holds no numbers along a dimension.
    """
    from netCDF4 import Dataset

    with LOCK:
        try:
            with Dataset("log.nc", memory=content) as file:
                return _table(file)
        except (OSError, RuntimeError, ValueError, KeyError, AttributeError):
            raise UnreadableLogError(
                "not-netcdf", "the file is not a whole netCDF file", "Write it again."
            ) from None


def _table(file: object) -> RawTable:
    variables = {n: v for n, v in file.variables.items() if v.ndim == 1}  # type: ignore[attr-defined]
    numeric = {n: v for n, v in variables.items() if np.issubdtype(v.dtype, np.number)}
    rows = max((v.shape[0] for v in numeric.values()), default=0)
    if rows == 0:
        raise UnreadableLogError(
            "empty-file", "the file has no variable with rows of numbers", "Name another file."
        )
    kept = {n: v for n, v in numeric.items() if v.shape[0] == rows}
    numbers = np.empty((rows, len(kept)), order="F")
    units = []
    for i, variable in enumerate(kept.values()):
        numbers[:, i] = np.ma.filled(np.ma.asarray(variable[:], dtype=np.float64), np.nan)
        unit = str(getattr(variable, "units", ""))
        since = _SINCE.fullmatch(unit.strip())
        units.append(since[1] if since else unit)
    rest = [n for n in file.variables if n not in kept]  # type: ignore[attr-defined]
    remarks = []
    if rest:
        remarks.append(
            Remark(
                "note",
                "columns-left-out",
                f"variables left out, which are not numbers along the longest dimension: {listed(rest, 20)}",
                "Nothing to do unless one is a channel.",
            )
        )
    return RawTable(tuple(kept), tuple(units), numbers, np.arange(1, rows + 1), remarks=remarks)
