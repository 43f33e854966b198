"""The one place that touches netCDF files, under the one lock of this process.

netCDF-C is not thread-safe: two threads inside it at once crash the process, also when they read different
files. Whoever needs a netCDF file goes through this module; logs in netCDF are read under the same lock.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from motorfit.archive.errors import ArchiveError
from motorfit.bench.netcdflog import LOCK as _LOCK

if TYPE_CHECKING:
    from netCDF4 import Dataset

# Below this many values a compressed chunk costs more in bookkeeping than it saves.
_COMPRESS_FROM = 64
_CHUNK_BYTES = 1 << 20

Attribute = str | int | float


@dataclass(frozen=True)
class Variable:
    """One labelled array: ``values`` has one axis per name in ``dims``; text is an object or str array."""

    name: str
    dims: tuple[str, ...]
    values: NDArray[Any]
    attributes: Mapping[str, Attribute] = field(default_factory=dict)


@dataclass(frozen=True)
class Group:
    """A named group of variables; equally named dims have one length within it."""

    name: str
    variables: tuple[Variable, ...]
    attributes: Mapping[str, Attribute] = field(default_factory=dict)


def write_file(path: Path, groups: Iterable[Group], attributes: Mapping[str, Attribute]) -> None:
    """Write a netCDF-4 file at ``path``, which must not exist.

    The bytes depend on the arguments and the netCDF library's version alone: no time stamp is stored.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    """
    from netCDF4 import Dataset

    try:
        with _LOCK, Dataset(path, "w", format="NETCDF4", clobber=False) as file:
            _set_attributes(file, attributes)
            for group in groups:
                _write_group(file.createGroup(group.name), group)
    except (OSError, RuntimeError) as error:
        raise ArchiveError(
            f"{path}: cannot be written: {error}. Check free space and access to the folder."
        ) from error


def read_group(path: Path, name: str) -> dict[str, NDArray[Any]]:
    """Return every variable of one group, by name; empty where the file has no such group.

    Raises
    ------
    ArchiveError
        The file is missing or is not a readable netCDF-4 file.
    """
    with _reading(path) as file:
        group = file.groups.get(name)
        if group is None:
            return {}
        return {key: _values(variable) for key, variable in group.variables.items()}


def read_attributes(path: Path, group: str | None = None) -> dict[str, Any]:
    """Return the attributes of the root, or of one group (empty where there is none).

    Raises
    ------
    ArchiveError
        The file is missing or is not a readable netCDF-4 file.
    """
    with _reading(path) as file:
        holder = file if group is None else file.groups.get(group)
        if holder is None:
            return {}
        return {key: holder.getncattr(key) for key in holder.ncattrs()}


@contextmanager
def _reading(path: Path) -> Iterator[Dataset]:
    from netCDF4 import Dataset

    with _LOCK:
        try:
            with Dataset(path, "r") as file:
                file.set_auto_maskandscale(False)
                yield file
        except FileNotFoundError as error:
            raise ArchiveError(
                f"{path}: no such file. List the motor's fits again; it may have been removed."
            ) from error
        except (OSError, RuntimeError, AttributeError) as error:
            raise ArchiveError(
                f"{path}: not a readable netCDF-4 file ({error}). "
                "Fits are written whole or not at all, so it was "
                "damaged later or is not a fit: move it out of the library and fit again."
            ) from error


def _values(variable: Any) -> NDArray[Any]:
    return np.asarray(variable[...])


def _set_attributes(holder: Any, attributes: Mapping[str, Attribute]) -> None:
    for name in sorted(attributes):
        holder.setncattr(name, attributes[name])


def _write_group(target: Any, group: Group) -> None:
    _set_attributes(target, group.attributes)
    for variable in group.variables:
        for dim, length in zip(variable.dims, variable.values.shape, strict=True):
            if dim not in target.dimensions:
                target.createDimension(dim, length)
    for variable in group.variables:
        _write_variable(target, variable)


def _write_variable(target: Any, variable: Variable) -> None:
    values = variable.values
    if values.dtype.kind in "OU":
        created = target.createVariable(variable.name, str, variable.dims)
        values = values.astype(object)
    elif values.size >= _COMPRESS_FROM:
        created = target.createVariable(
            variable.name,
            values.dtype,
            variable.dims,
            compression="zlib",
            complevel=4,
            shuffle=True,
            chunksizes=_chunks(values),
            fill_value=False,
        )
    else:
        created = target.createVariable(variable.name, values.dtype, variable.dims, fill_value=False)
    _set_attributes(created, variable.attributes)
    if values.size:
        created[...] = values


def _chunks(values: NDArray[Any]) -> tuple[int, ...]:
    """One chunk for the whole array, or slabs along the longest axis where it is large."""
    shape = list(values.shape)
    while int(np.prod(shape)) * values.itemsize > _CHUNK_BYTES and max(shape) > 1:
        longest = shape.index(max(shape))
        shape[longest] = (shape[longest] + 1) // 2
    return tuple(shape)
