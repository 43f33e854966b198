"""The fits of a comparison out of a library, and those that tie its campaigns together."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from motorfit.answers.errors import AnswerError
from motorfit.answers.pairing import campaign_of
from motorfit.answers.posterior import FitLike
from motorfit.archive.loaded import LoadedFit
from motorfit.archive.store import find_fit, list_fits, load_fit


def companions(library: Path, fits: Sequence[FitLike]) -> tuple[LoadedFit, ...]:
    """Load the fits of motors that were tested in more than one of the campaigns of ``fits``.

    Fits that are among ``fits`` already are left out; with a single campaign there are none.
    """
    campaigns = {campaign_of(fit) for fit in fits}
    if len(campaigns) < 2:
        return ()
    have = {fit.fit_id for fit in fits}
    by_motor: dict[str, dict[str, str]] = {}
    for stored in list_fits(library):
        if stored.problem is None and stored.campaign_fit in campaigns:
            by_motor.setdefault(stored.motor, {})[stored.campaign_fit] = stored.fit_id
    wanted = [
        (motor, fit_id)
        for motor, by_campaign in by_motor.items()
        if len(by_campaign) > 1
        for fit_id in by_campaign.values()
        if fit_id not in have
    ]
    return tuple(load_fit(library, motor, fit_id) for motor, fit_id in wanted)


def fits_of(library: Path, motors: Sequence[str], fit_ids: Sequence[str] = ()) -> tuple[LoadedFit, ...]:
    """Load the fits of motors: the latest of each, or those named.

    Parameters
    ----------
    library :
        The library's folder.
    motors :
        Ids, in the order of the answer.
    fit_ids :
        Fits to take instead of the latest of their motors; several of one motor are all taken.

    Raises
    ------
    AnswerError
        A motor named twice, or a fit of a motor that was not named.
    NotFoundError
        The library holds no such motor or fit.
    """
    for motor in motors:
        if list(motors).count(motor) > 1:
            raise AnswerError("motors", motor, "every motor once", "Name it once.")
    named: dict[str, list[str | None]] = {}
    for fit_id in fit_ids:
        motor = find_fit(library, fit_id).motor
        if motor not in motors:
            raise AnswerError(
                "fit", fit_id, f"fits of {', '.join(motors)}", f"It is of {motor}; name that too."
            )
        named.setdefault(motor, []).append(fit_id)
    return tuple(
        load_fit(library, motor, fit_id)
        for motor in motors
        for fit_id in dict.fromkeys(named.get(motor, [None]))
    )
