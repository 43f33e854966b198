"""Blocks as observed, and as the posterior would have logged them."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.graph import MEASURED
from motorfit.inference.target import Target

__all__ = ["observed_blocks", "replicas"]

Array = npt.NDArray[np.float64]


def _blocks_of(target: Target, motor: str) -> npt.NDArray[np.int64]:
    spans = zip(target.graph.runs, pairwise(target.flat.first), strict=True)
    picked = [np.arange(a, b) for r, (a, b) in spans if r.run.motor == motor]
    return np.concatenate(picked) if picked else np.zeros(0, dtype=np.int64)


def _doubt(target: Target) -> Array:
    """One-sigma noise of each block mean as the fit took it, (blocks, channels); NaN where not used."""
    return np.asarray(target.innovation_sd / np.sqrt(np.maximum(1.0 - target.phi**2, 0.05)))


def observed_blocks(target: Target, motor: str, scatter: Array) -> dict[str, npt.NDArray[Any]]:
    """Block means of a motor's runs, (block,) each, SI; `scatter` (channels,) scales the doubt of table
    rows."""
    runs = [r for r in target.graph.runs if r.run.motor == motor]
    if not runs:
        return {}
    out: dict[str, npt.NDArray[Any]] = {
        "block_run": np.concatenate([np.full(r.size, r.run.id, dtype=object) for r in runs]),
        "block_start_s": np.concatenate([r.start_s for r in runs]),
        "block_end_s": np.concatenate([r.start_s + r.length_s for r in runs]),
        "throttle": np.concatenate([r.throttle for r in runs]),
    }
    at = _blocks_of(target, motor)
    sd = _doubt(target)[at]
    steady = np.repeat([r.mode == "at-speed" for r in runs], [r.size for r in runs])
    sd[steady] *= scatter
    for name in ("voltage", *MEASURED):
        if not any(name in r.mean for r in runs):
            continue
        out[name] = np.concatenate([r.mean.get(name, np.full(r.size, np.nan)) for r in runs])
        if name in MEASURED:
            out[f"{name}_sd"] = sd[:, MEASURED.index(name)]
    return out


def replicas(
    target: Target, z: Array, rng: np.random.Generator
) -> dict[str, dict[str, npt.NDArray[np.float32]]]:
    """Replicated block means of every motor's runs, noise and slow error included.

    Returns
    -------
    motor -> channel -> (draws, block of the motor's runs), SI, NaN where a channel is not used
    """
    logged = target.predict(z) + target.noise(z, rng)
    used = target.isd > 0.0
    out = {}
    for motor in target.graph.motors:
        at = _blocks_of(target, motor.id)
        out[motor.id] = {
            name: np.where(used[at, c], logged[:, at, c], np.nan).astype(np.float32)
            for c, name in enumerate(MEASURED)
            if used[at, c].any()
        }
    return out
