from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from motorfit.bench.propose import NoLogsError
from motorfit.cli.app import app
from tests.bench.helpers import HEADER, rows


def _folder(tmp_path: Path) -> Path:
    (tmp_path / "heron-ramp-7x3.5.csv").write_text(HEADER + "".join(rows(60)))
    return tmp_path


def test_it_writes_a_campaign_that_loads(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["new", str(_folder(tmp_path)), "--json"])
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    assert answer["runs"] == 1 and any("pressure_hpa" in line for line in answer["unsure"])
    from motorfit.bench.campaign import load_campaign

    assert load_campaign(tmp_path / "campaign.toml").runs[0].kind == "ramp"
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


def test_it_never_overwrites(tmp_path: Path) -> None:
    (tmp_path / "campaign.toml").write_text("mine")
    result = CliRunner().invoke(app, ["new", str(_folder(tmp_path))])
    assert isinstance(result.exception, NoLogsError) and "left as it is" in str(result.exception)
    assert (tmp_path / "campaign.toml").read_text() == "mine"


@pytest.mark.parametrize("name", ["absent", "heron-ramp-7x3.5.csv"])
def test_it_needs_a_folder(tmp_path: Path, name: str) -> None:
    result = CliRunner().invoke(app, ["new", str(_folder(tmp_path) / name)])
    assert isinstance(result.exception, NoLogsError) and "not a folder" in str(result.exception)
