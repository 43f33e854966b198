from __future__ import annotations

from pathlib import Path

import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.logs import try_read_runs
from motorfit.bench.propose import MARK, NoLogsError, propose
from motorfit.synthetic.options import KINDS, BenchOptions
from motorfit.synthetic.simulate import simulate_campaign
from tests.bench.helpers import HEADER, rows


def _errors(folder: Path) -> list[str]:
    (folder / "campaign.toml").write_text(propose(folder).text)
    campaign = load_campaign(folder / "campaign.toml")
    logs, found = try_read_runs(campaign)
    return [str(f) for f in check_campaign(campaign, logs, found).errors]


def test_a_simulated_bench_is_proposed_as_it_was(tmp_path: Path) -> None:
    simulate_campaign(tmp_path, seed=5, options=BenchOptions(motors=2, runs=KINDS))
    meant = load_campaign(tmp_path / "campaign.toml")
    (tmp_path / "campaign.toml").unlink()
    assert _errors(tmp_path) == []
    got = {r.file.name: r for r in load_campaign(tmp_path / "campaign.toml").runs}
    for run in meant.runs:
        assert got[run.file.name].kind == run.kind
        assert got[run.file.name].motor == run.motor
        assert (got[run.file.name].propeller is None) == (run.propeller is None)


@pytest.mark.parametrize("kind", ["no-load", "ramp", "steps", "hold", "coast-down", "table"])
def test_kinds_are_told_without_a_name(tmp_path: Path, kind: str) -> None:
    simulate_campaign(tmp_path, seed=6, options=BenchOptions(motors=1, propellers=1, runs=(kind,)))
    (tmp_path / "campaign.toml").unlink()
    (log,) = (tmp_path / "logs").iterdir()
    log.rename(log.with_name("0001.csv"))
    text = propose(tmp_path).text
    assert f'kind = "{kind}"' in text
    assert _errors(tmp_path) == []


def test_what_is_unsure_is_marked_with_candidates(tmp_path: Path) -> None:
    header = HEADER.replace("thrust [N]", "thrust").replace("throttle [%]", "pwm")
    (tmp_path / "heron-ramp-7x3.5x3.csv").write_text(header + "".join(rows(60)))
    proposal = propose(tmp_path)
    assert any("thrust = {" in line and "or N, gf, kgf" in line for line in proposal.unsure)
    assert "diameter_in = 7  " in proposal.text and "blades = 3  " in proposal.text
    assert all(MARK in line for line in proposal.unsure)
    load = tmp_path / "campaign.toml"
    load.write_text(proposal.text)
    assert load_campaign(load).motors[0].id == "heron"


def test_joined_runs_become_parts(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(HEADER + "".join(rows(60)) * 2)
    text = propose(tmp_path).text
    assert "part = 1" in text and "part = 2" in text
    (tmp_path / "campaign.toml").write_text(text)
    assert len(try_read_runs(load_campaign(tmp_path / "campaign.toml"))[0]) == 2


def test_files_that_are_no_logs_are_named(tmp_path: Path) -> None:
    with pytest.raises(NoLogsError, match="no log that can be read"):
        propose(tmp_path)
    (tmp_path / "notes.txt").write_text("nothing but words\n")
    (tmp_path / "a.csv").write_text(HEADER + "".join(rows(60)))
    proposal = propose(tmp_path)
    assert proposal.left_out == ("notes.txt: no line holds two numbers or more",)
    assert "# notes.txt: no line" in proposal.text
