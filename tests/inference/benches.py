"""Small simulated benches, whole or reduced to blocks, and their campaign files with more text."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import RunLog, read_runs
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun, reduce_runs
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign
from motorfit.synthetic.truth import Truth


@dataclass(frozen=True)
class SimulatedBench:
    """What was simulated, and what a user would have of it."""

    truth: Truth
    campaign: Campaign
    logs: tuple[RunLog, ...]

    @property
    def blocked(self) -> tuple[BlockedRun, ...]:
        """The runs as inference sees them."""
        return reduce_runs(self.logs)

    def with_text(self, text: str) -> Campaign:
        """The campaign with more text at the end of its file."""
        path = self.truth.campaign.with_name("more.toml")
        path.write_text(self.truth.campaign.read_text() + text)
        return load_campaign(path)


def bench_in(
    folder: Path,
    *runs: str,
    motors: int = 1,
    propellers: int = 1,
    seed: int = 3,
    rate_hz: float = 100.0,
) -> SimulatedBench:
    """A bench of a few short runs."""
    options = BenchOptions(motors=motors, propellers=propellers, runs=runs, sample_rate_hz=rate_hz)
    truth = simulate_campaign(folder, seed=seed, options=options)
    campaign = load_campaign(truth.campaign)
    return SimulatedBench(truth, campaign, read_runs(campaign))
