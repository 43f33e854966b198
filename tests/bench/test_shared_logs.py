"""The reader against logs that nobody made for it; they are not part of the repository."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.logs import read_runs
from motorfit.units import RPM

pytestmark = pytest.mark.shared


def test_flywheel(shared_folder: Path) -> None:
    campaign = load_campaign(shared_folder / "real" / "flywheel" / "campaign.toml")
    first, again, coast = read_runs(campaign)
    assert [f.kind for f in first.findings] == ["cut-last-line"] == [f.kind for f in again.findings]
    assert first.time_s is not None and coast.time_s is not None
    assert len(first.time_s) == 10957 and first.time_s[-1] == pytest.approx(31.542)
    # 496.03 rpm of the wheel at most, 60 teeth on 14
    assert np.nanmax(first.channels["speed"]) == pytest.approx(496.03 * 60 / 14 * RPM)
    assert coast.time_s[-1] == pytest.approx(745.12)
    assert np.isnan(coast.channels["speed"]).sum() == 2
    assert check_campaign(campaign, (first, again, coast)).errors == ()


def test_static_sweep(shared_folder: Path) -> None:
    campaign = load_campaign(shared_folder / "real" / "static" / "campaign.toml")
    ten, fourteen = read_runs(campaign)
    assert ten.time_s is None and ten.findings == ()
    assert set(ten.channels) == {"throttle", "torque", "thrust", "speed", "current"}
    assert ten.channels["throttle"][0] == pytest.approx(0.1)
    assert fourteen.channels["speed"][1] == pytest.approx(802 * RPM)
    assert check_campaign(campaign, (ten, fourteen)).errors == ()


def test_tables(shared_folder: Path) -> None:
    campaign = load_campaign(shared_folder / "real" / "tables" / "campaign.toml")
    logs = read_runs(campaign)
    assert [len(log.channels["speed"]) for log in logs] == [6, 6, 6, 6]
    assert logs[0].channels["thrust"][0] == pytest.approx(0.363 * 9.80665)
    assert check_campaign(campaign, logs).findings == ()


@pytest.mark.parametrize("name", ["bench-101-nominal", "bench-202-rich"])
def test_samples(shared_folder: Path, name: str) -> None:
    campaign = load_campaign(shared_folder / "samples" / name / "campaign.toml")
    logs = read_runs(campaign)
    assert len(logs) == 9 and all(log.findings == () for log in logs)
    assert check_campaign(campaign, logs).findings == ()
