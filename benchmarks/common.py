"""What the benchmarks share: facts of the machine, a campaign read back, effective sample sizes."""

from __future__ import annotations

import os
import platform
import sys
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import RunLog, read_runs
from motorfit.bench.models import Campaign

Array = npt.NDArray[np.float64]


def machine() -> dict[str, Any]:
    """What the figures depend on beside the code; `load` is what else the machine does, one-minute mean."""
    return {
        "cpus": len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count(),
        "architecture": platform.machine(),
        "system": platform.system(),
        "python": platform.python_version(),
        "numpy": np.__version__,
        "load": round(os.getloadavg()[0], 2) if hasattr(os, "getloadavg") else None,
    }


def read(campaign_file: Path) -> tuple[Campaign, tuple[RunLog, ...]]:
    """A campaign and its logs, as `motorfit fit` reads them."""
    campaign = load_campaign(campaign_file)
    return campaign, read_runs(campaign)


def mixing(chains: Array) -> tuple[float, float]:
    """Smallest bulk ESS and largest R̂ over coordinates; chains: (chain, draw, coordinate)."""
    from arviz_stats.base import array_stats  # type: ignore[attr-defined]

    stats: Any = array_stats  # untyped
    moved = np.moveaxis(chains, -1, 0)
    ess = stats.ess(moved, chain_axis=1, draw_axis=2, method="bulk")
    r_hat = stats.rhat(moved, chain_axis=1, draw_axis=2, method="rank")
    return float(np.min(ess)), float(np.max(r_hat))


def note(text: str) -> None:
    """Progress, on standard error."""
    print(text, file=sys.stderr, flush=True)
