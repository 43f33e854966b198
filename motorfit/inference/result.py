"""What a fit returns: the posterior of every motor of a campaign, with what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.bench.models import Campaign

__all__ = ["FitResult", "MotorPosterior"]


@dataclass(frozen=True)
class MotorPosterior:
    """One motor's posterior.

    Attributes
    ----------
    motor : id
    propellers : ids of all propellers of the campaign, in the order of the last axis
    draws : parameter -> (chain, draw) or (chain, draw, propeller), units of the quantities table.  Draw i of
        the bench, of the propellers and of every motor of the campaign belong together
    prior : the same names, (1, draws, ...)
    sample_stats : name -> (chain, draw)
    observed : name -> (block,): `block_run`, `block_start_s`, `block_end_s`, and for each channel its block
        mean `<channel>` and one-sigma doubt `<channel>_sd` (SI, NaN where absent)
    predictive : channel -> (replica, block) block means as the model would log them, noise included (SI)
    constant : facts of the campaign that answers need
    attributes : provenance, diagnostics, priors, findings
    """

    motor: str
    propellers: tuple[str, ...]
    draws: Mapping[str, npt.NDArray[np.float64]]
    prior: Mapping[str, npt.NDArray[np.float64]]
    sample_stats: Mapping[str, npt.NDArray[Any]]
    observed: Mapping[str, npt.NDArray[Any]]
    predictive: Mapping[str, npt.NDArray[np.float32]]
    constant: Mapping[str, Any]
    attributes: Mapping[str, Any]


@dataclass(frozen=True)
class FitResult:
    """A fitted campaign: `motors` in the order of the campaign file, those without run or measurement left
    out."""

    campaign: Campaign
    motors: tuple[MotorPosterior, ...]
