"""Scores of one channel of a run that was predicted without itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.plain import number
from motorfit.answers.posterior import FloatArray
from motorfit.inference.scores import Coverage, coverage, crps, expected_crps
from motorfit.quantities import CHANNELS

INTERVALS = (0.5, 0.9)

_FEWEST_MEMBERS = 20
_SMALL = 0.1
"""Share of the largest reading below which an error relative to the reading says nothing."""


@dataclass(frozen=True)
class ChannelScore:
    """How well one channel was predicted.

    Attributes
    ----------
    channel, unit: which, and the unit of ``rmse`` and ``crps``.
    coverage: of the bands of `INTERVALS`.
    relative_error: median of |prediction − reading| / |reading| over readings above a tenth of the largest,
        a log's blocks weighted by their length [1]; prediction is the median.
    bias: mean prediction less mean reading, over the mean size of the reading, weighted likewise [1].
    rmse: root mean square of prediction less reading over blocks.
    crps: mean continuous ranked probability score over blocks.
    crps_expected: what it would be if the reading were one more draw of the prediction; a crps well above
        it means bands too narrow, well below it bands too wide.
    """

    channel: str
    unit: str
    coverage: tuple[Coverage, ...]
    relative_error: float
    bias: float
    rmse: float
    crps: float
    crps_expected: float

    @property
    def blocks(self) -> int:
        """Number of blocks scored."""
        return self.coverage[0].blocks

    @property
    def sentence(self) -> str:
        """What the scores mean."""
        wide = self.coverage[-1]
        many = f"{wide.effective:.0f}" if wide.effective >= 9.5 else f"{wide.effective:.1f}"
        said = (
            f"{self.channel}: {_percent(wide.share)} of {wide.blocks} blocks are inside the "
            f"{_percent(wide.interval)} band, which weigh as {many} independent ones; "
            f"{_percent(wide.low)} to {_percent(wide.high)} would be no surprise. "
        )
        if wide.share < wide.low:
            said += "The band is too narrow: the model or its noise misses something in this run."
        elif wide.share > wide.high:
            said += "The band is wider than this run needed."
        elif math.isfinite(self.relative_error):
            said += f"Half of the readings are within {100.0 * self.relative_error:.2g} % of the prediction."
        return said

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        return {
            "unit": self.unit,
            "blocks": self.blocks,
            "coverage": [
                {
                    "interval": c.interval,
                    "share": number(c.share),
                    "effective_blocks": number(c.effective),
                    "low": number(c.low),
                    "high": number(c.high),
                    "expected": c.expected,
                }
                for c in self.coverage
            ],
            "relative_error": number(self.relative_error),
            "bias": number(self.bias),
            "rmse": number(self.rmse),
            "crps": number(self.crps),
            "crps_expected": number(self.crps_expected),
            "sentence": self.sentence,
        }


def score_channel(
    channel: str, replicas: FloatArray, observed: FloatArray, length_s: FloatArray
) -> ChannelScore | None:
    """Score one channel.

    Parameters
    ----------
    channel:
        Its name.
    replicas:
        (draws, blocks) as they would have been logged.
    observed:
        (blocks,) as logged, NaN where missing.
    length_s:
        (blocks,) length of each block [s]; NaN for rows of a table, which then weigh the same.

    Returns
    -------
    None where there is nothing to score: no reading, or too few possible draws.
    """
    used = np.isfinite(observed)
    if not used.any() or replicas.shape[0] < _FEWEST_MEMBERS:
        return None
    ensemble, seen = replicas[:, used], observed[used]
    weight = np.where(np.isfinite(length_s[used]), length_s[used], 1.0)
    middle = np.median(ensemble, axis=0)
    miss = middle - seen
    large = np.abs(seen) >= _SMALL * float(np.abs(seen).max())
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.abs(miss[large]) / np.abs(seen[large])
    size = float(np.average(np.abs(seen), weights=weight))
    return ChannelScore(
        channel,
        CHANNELS[channel].unit,
        tuple(coverage(ensemble, seen, p) for p in INTERVALS),
        _weighted_median(relative, weight[large]),
        float(np.average(miss, weights=weight)) / size if size > 0.0 else math.nan,
        float(np.sqrt(np.mean(miss**2))),
        float(crps(ensemble, seen).mean()),
        float(expected_crps(ensemble).mean()),
    )


def pooled(scores: Sequence[ChannelScore]) -> tuple[ChannelScore, ...]:
    """One score a channel from those of several runs: shares by block, independent blocks added up."""
    by: dict[str, list[ChannelScore]] = {}
    for score in scores:
        by.setdefault(score.channel, []).append(score)
    return tuple(_pool(parts) for parts in by.values())


def _pool(parts: list[ChannelScore]) -> ChannelScore:
    if len(parts) == 1:
        return parts[0]
    weight = np.array([p.blocks for p in parts], dtype=np.float64)

    def mean(values: list[float]) -> float:
        known = np.isfinite(values)
        return float(np.average(np.array(values)[known], weights=weight[known])) if known.any() else math.nan

    return ChannelScore(
        parts[0].channel,
        parts[0].unit,
        tuple(_pool_coverage([p.coverage[k] for p in parts]) for k in range(len(INTERVALS))),
        _weighted_median(np.array([p.relative_error for p in parts]), weight),
        mean([p.bias for p in parts]),
        math.sqrt(mean([p.rmse**2 for p in parts])),
        mean([p.crps for p in parts]),
        mean([p.crps_expected for p in parts]),
    )


def _pool_coverage(parts: list[Coverage]) -> Coverage:
    """Coverage over several runs whose own errors are independent.

    The share's variance is that of the weighted mean; its range is taken as normal and cut to 0..1.
    """
    blocks = np.array([p.blocks for p in parts], dtype=np.float64)
    p = parts[0].interval
    variance = np.array([p * (1.0 - p) / c.effective for c in parts])
    part = blocks / blocks.sum()
    sd = math.sqrt(float(np.sum(part**2 * variance)))
    share = float(np.sum(part * np.array([c.share for c in parts])))
    effective = float(np.clip(p * (1.0 - p) / max(sd**2, 1e-12), 1.0, blocks.sum()))
    return Coverage(
        p, share, int(blocks.sum()), effective, max(0.0, p - 1.645 * sd), min(1.0, p + 1.645 * sd)
    )


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    known = np.isfinite(values)
    if not known.any():
        return math.nan
    order = np.argsort(values[known])
    total = np.cumsum(weights[known][order])
    return float(values[known][order][np.searchsorted(total, 0.5 * total[-1])])


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"
