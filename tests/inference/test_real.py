"""Campaigns of tables that nobody simulated; their logs are not part of the repository."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import read_runs
from motorfit.inference.fit import fit_campaign

pytestmark = pytest.mark.shared


@pytest.mark.parametrize("name", ["tables", "static"])
def test_tables_teach_the_thrust_coefficient(shared_folder: Path, name: str) -> None:
    campaign = load_campaign(shared_folder / "real" / name / "campaign.toml")
    result = fit_campaign(campaign, read_runs(campaign), method="fast", draws=1000)
    posterior = result.motors[0]
    used = {r.propeller for r in campaign.runs if r.motor == posterior.motor}
    for k, propeller in enumerate(posterior.propellers):
        draws = posterior.draws["thrust_coefficient"][..., k]
        believed = posterior.prior["thrust_coefficient"][..., k]
        assert np.isfinite(draws).all() and 0.02 < draws.mean() < 0.3
        if propeller in used:
            assert draws.std() < 0.5 * believed.std()
