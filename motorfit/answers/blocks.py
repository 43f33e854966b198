"""What the runs of a fit showed, block by block, beside what the posterior says they should have shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from motorfit.answers.bands import Band, band, check_interval
from motorfit.answers.plain import numbers
from motorfit.answers.posterior import FitWithData, FloatArray
from motorfit.quantities import CHANNELS


@dataclass(frozen=True)
class BlockChannel:
    """One channel of one run: block means, their doubts (B,), replicas as a Band (None: unmodelled)."""

    name: str
    unit: str
    observed: FloatArray
    sd: FloatArray
    fitted: Band | None

    def to_json(self) -> dict[str, Any]:
        """Return plain types, null where a block has no value."""
        return {
            "unit": self.unit,
            "observed": numbers(self.observed),
            "sd": numbers(self.sd),
            "fitted": None if self.fitted is None else self.fitted.to_json(),
        }


@dataclass(frozen=True)
class BlockRun:
    """One run: start and end of its blocks [s], (B,), NaN for a table of steady points; and its channels."""

    run: str
    start_s: FloatArray
    end_s: FloatArray
    channels: tuple[BlockChannel, ...]

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        return {
            "run": self.run,
            "start_s": numbers(self.start_s),
            "end_s": numbers(self.end_s),
            "channels": {channel.name: channel.to_json() for channel in self.channels},
        }


def block_runs(fit: FitWithData, interval: float = 0.9) -> tuple[BlockRun, ...]:
    """Return every run a fit saw, in the order of its blocks, channels in the units of the nomenclature.

    Raises
    ------
    AnswerError
        The interval is not a probability.
    """
    check_interval(interval)
    observed, predictive = fit.observed, fit.predictive
    names = observed.get("block_run")
    if names is None:
        return ()
    labels = np.asarray([str(name) for name in names.tolist()])
    found = []
    for run in dict.fromkeys(labels.tolist()):
        mask = labels == run
        channels = []
        for name, quantity in CHANNELS.items():
            if name not in observed:
                continue
            values = np.asarray(observed[name], dtype=np.float64)[mask]
            if not np.isfinite(values).any():
                continue
            doubt = observed.get(f"{name}_sd")
            sd = np.full(values.size, np.nan) if doubt is None else np.asarray(doubt, dtype=np.float64)[mask]
            fitted = None
            if name in predictive:
                replicas = np.asarray(predictive[name], dtype=np.float64)[:, mask]
                fitted = band(replicas.T, interval) if np.isfinite(replicas).any() else None
            channels.append(BlockChannel(name, quantity.unit, values, sd, fitted))
        start, end = (np.asarray(observed[f"block_{e}_s"], dtype=np.float64)[mask] for e in ("start", "end"))
        found.append(BlockRun(run, start, end, tuple(channels)))
    return tuple(found)
