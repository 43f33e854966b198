"""Fits side by side, row by row: what of two motors may be subtracted draw by draw.

Motors fitted together share the rows of the bench and of the propellers: row i of one belongs with row i of
the other, and their difference keeps what is shared. Fits of different campaigns know nothing of one
another; their rows are put in an order that is independent and always the same, never index by index, since
draws of two fits may be ordered alike (by chain, by stage, by weight).
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.posterior import FitLike, FloatArray, count, flat


@dataclass(frozen=True)
class Subject:
    """A motor's posterior with its rows in common order; reads like a fit with one chain.

    Attributes
    ----------
    name : what the answer calls it: the motor's id, or its model's
    campaign_fit : equal for subjects whose rows share a bench
    draws : name -> (1, S) or (1, S, propellers), units of the quantities table
    source : the fit it was taken from, rows as stored
    """

    name: str
    campaign_fit: str
    draws: Mapping[str, NDArray[Any]]
    source: FitLike

    @property
    def motor(self) -> str:
        """Motor id of the fit."""
        return self.source.motor

    @property
    def fit_id(self) -> str:
        """Id of the fit."""
        return self.source.fit_id

    @property
    def propellers(self) -> tuple[str, ...]:
        """Propellers along the last axis of per-propeller draws."""
        return self.source.propellers

    @property
    def prior(self) -> Mapping[str, NDArray[Any]]:
        """Prior draws, rows of their own."""
        return self.source.prior

    @property
    def constant(self) -> Mapping[str, Any]:
        """Facts of the campaign."""
        return self.source.constant

    @property
    def attributes(self) -> Mapping[str, Any]:
        """Provenance and diagnostics."""
        return self.source.attributes

    def with_draws(self, changed: Mapping[str, NDArray[Any]], name: str | None = None) -> Subject:
        """Return the subject with some parameters replaced, and perhaps another name."""
        return replace(self, draws={**self.draws, **changed}, name=self.name if name is None else name)


def campaign_of(fit: FitLike) -> str:
    """Return what fits of one campaign fit have in common: the id before its last hyphen."""
    return fit.fit_id.rsplit("-", 1)[0]


def logs_of(fit: FitLike) -> set[str]:
    """Return the hashes of the files a fit rests on."""
    inputs = fit.attributes.get("inputs_sha256")
    return {str(value) for value in inputs.values()} if isinstance(inputs, Mapping) else set()


def side_by_side(fits: Sequence[FitLike]) -> tuple[Subject, ...]:
    """Bring fits to one number of rows and to an order in which rows may be subtracted.

    Parameters
    ----------
    fits :
        Stored fits, each motor of a campaign fit once. Rows of fits of one campaign fit stay together; those
        of every further campaign fit are shuffled, seeded by its id. With different numbers of draws, the
        smallest number holds for all, taken evenly.

    Raises
    ------
    AnswerError
        No fit, or two fits of one campaign fit hold different numbers of draws.
    """
    if not fits:
        raise AnswerError("motors", (), "one motor or more", "Name the motors to compare.")
    sizes: dict[str, int] = {}
    for fit in fits:
        size = sizes.setdefault(campaign_of(fit), count(fit))
        if size != count(fit):
            raise AnswerError(
                "fit",
                fit.fit_id,
                f"{size} draws, as the other motors of its campaign",
                "Fit the campaign again.",
            )
    common = min(sizes.values())
    rows = {name: _rows(name, size, common, first=k == 0) for k, (name, size) in enumerate(sizes.items())}
    return tuple(_subject(fit, rows[campaign_of(fit)]) for fit in fits)


def _rows(campaign: str, size: int, common: int, *, first: bool) -> NDArray[np.intp] | None:
    if first:
        return None if size == common else np.floor(np.arange(common) * (size / common)).astype(np.intp)
    order = np.random.default_rng(zlib.crc32(campaign.encode())).permutation(size)
    return order[:common].astype(np.intp)


def _subject(fit: FitLike, rows: NDArray[np.intp] | None) -> Subject:
    def take(array: NDArray[Any]) -> FloatArray:
        values = flat(array)
        return (values if rows is None else values[rows])[np.newaxis]

    draws = {name: take(array) for name, array in fit.draws.items()}
    return Subject(fit.motor, campaign_of(fit), draws, fit)
