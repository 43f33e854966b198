"""Noise with a known memory, and runs that need no file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from motorfit.bench.models import Kind, Run

Array = npt.NDArray[np.float64]


def run_of(kind: Kind) -> Run:
    """A run of a kind, whose log is made up in memory."""
    return Run(id="a", motor="heron", kind=kind, file=Path("a.csv"))


def remembering_noise(
    rng: np.random.Generator,
    shape: tuple[int, ...],
    dt_s: float,
    sd: float,
    memory_s: float,
    white_sd: float = 0.0,
) -> Array:
    """Ornstein-Uhlenbeck noise along the last axis, stationary from its first sample, plus white noise."""
    phi = np.exp(-dt_s / memory_s)
    kicks = rng.standard_normal(shape) * sd * np.sqrt(1.0 - phi**2)
    kicks[..., 0] = rng.standard_normal(shape[:-1]) * sd
    slow = np.asarray(lfilter([1.0], [1.0, -phi], kicks), dtype=np.float64)
    return slow + white_sd * rng.standard_normal(shape)
