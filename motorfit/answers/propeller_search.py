"""A question's propeller looked up in a library: the fit's own, another campaign's, or by geometry."""

from __future__ import annotations

from pathlib import Path

from motorfit.answers.posterior import FitLike
from motorfit.answers.propeller_stated import StatedPropeller
from motorfit.answers.propeller_tested import library_propellers, untaught
from motorfit.answers.propellers import PropellerDraws, propeller_draws


def find_propeller(fit: FitLike, propeller: str | StatedPropeller, library: Path) -> PropellerDraws:
    """Return the draws of a propeller, with what the rest of the library knows of it or of its like.

    Parameters
    ----------
    fit:
        A stored fit; a propeller of its own campaign needs no look at the library.
    propeller:
        An id, ``ID@CAMPAIGN_FIT``, a geometry ``DxPxB`` in inches, or a described propeller.
    library:
        The library's folder.

    Raises
    ------
    AnswerError
        Neither a known id nor a geometry, or an id that several campaigns have.
    """
    if isinstance(propeller, str) and propeller in fit.propellers and not untaught(fit, propeller):
        return propeller_draws(fit, propeller)
    return propeller_draws(fit, propeller, library_propellers(library, fit))
