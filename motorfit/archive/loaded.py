"""A stored fit in memory: draws as plain numpy, the bulky groups read when they are asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.archive import netcdf, text
from motorfit.archive.errors import ArchiveError
from motorfit.archive.identity import campaign_fit_of

_INDICES = frozenset({"chain", "draw", "block", "propeller"})
_REQUIRED = ("kv", "winding_resistance", "rotor_inertia")


@dataclass(frozen=True)
class LoadedFit:
    """One motor's posterior, as the library holds it.

    Attributes
    ----------
    motor, fit_id: what it is the posterior of, and its name in the library.
    path: the file it came from.
    propellers: ids along the last axis of per-propeller draws.
    draws: float64 (chain, draw) or (chain, draw, propeller), units of the quantities table.
    constant: facts of the campaign: air, motor, propellers, tested envelope, controller.
    attributes: provenance and diagnostics.
    """

    motor: str
    fit_id: str
    path: Path
    propellers: tuple[str, ...]
    draws: dict[str, NDArray[np.float64]]
    constant: dict[str, Any]
    attributes: dict[str, Any]

    @property
    def campaign_fit(self) -> str:
        """Equal for motors fitted together: draw i of one then shares the bench of draw i of the other."""
        return campaign_fit_of(self.fit_id)

    @cached_property
    def prior(self) -> dict[str, NDArray[np.float64]]:
        """Prior draws under the posterior's names, (1, n) or (1, n, propeller)."""
        return _doubles(_without_indices(netcdf.read_group(self.path, "prior")))

    @cached_property
    def sample_stats(self) -> dict[str, NDArray[Any]]:
        """What the sampler said of each draw, (chain, draw)."""
        return _without_indices(netcdf.read_group(self.path, "sample_stats"))

    @cached_property
    def observed(self) -> dict[str, NDArray[Any]]:
        """Block means of the logs, (block,), with their doubts, runs and times."""
        return _without_indices(netcdf.read_group(self.path, "observed_data"))

    @cached_property
    def predictive(self) -> dict[str, NDArray[np.float32]]:
        """Replicas of the block means by channel, (draw, block)."""
        group = _without_indices(netcdf.read_group(self.path, "posterior_predictive"))
        return {name: values[0] for name, values in group.items()}


def load_file(path: Path, motor: str, fit_id: str) -> LoadedFit:
    """Read one fit's file.

    Raises
    ------
    ArchiveError
        The file is missing, damaged, or not a fit of that motor.
    """
    posterior = netcdf.read_group(path, "posterior")
    attributes = text.from_attributes(netcdf.read_attributes(path))
    missing = [name for name in _REQUIRED if name not in posterior]
    if missing or attributes.get("motor") != motor:
        reason = f"no {', '.join(missing)}" if missing else f"it is of motor {attributes.get('motor')!r}"
        raise ArchiveError(
            f"{path}: not a fit of {motor} ({reason}). Move it out of the library, or fit again."
        )
    constant = text.from_attributes(netcdf.read_attributes(path, "constant_data")).get("facts")
    propellers = tuple(str(name) for name in posterior.get("propeller", ()))
    return LoadedFit(
        motor=motor,
        fit_id=fit_id,
        path=path,
        propellers=propellers,
        draws=_doubles(_without_indices(posterior)),
        constant=constant if isinstance(constant, dict) else {},
        attributes=attributes,
    )


def _without_indices(group: dict[str, NDArray[Any]]) -> dict[str, NDArray[Any]]:
    return {name: values for name, values in group.items() if name not in _INDICES}


def _doubles(group: dict[str, NDArray[Any]]) -> dict[str, NDArray[np.float64]]:
    return {name: values.astype(np.float64) for name, values in group.items()}
