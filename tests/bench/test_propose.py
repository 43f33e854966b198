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


FOREIGN = "Zeit [s],Gas [%],Spannung [V],Strom [A],Drehzahl [1/min],Schub [N],Drehmoment [Nm]\n"


def test_columns_of_unknown_names_are_proposed_by_their_unit(tmp_path: Path) -> None:
    (tmp_path / "motor A ramp 02.csv").write_text(FOREIGN + "".join(rows(60)))
    proposal = propose(tmp_path)
    marked = [line for line in proposal.unsure if "by its unit" in line]
    assert len(marked) == 7 and 'speed = { column = "Drehzahl [1/min]", unit = "1/min" }' in proposal.text
    (tmp_path / "campaign.toml").write_text(proposal.text)
    campaign = load_campaign(tmp_path / "campaign.toml")
    # a number in the name counts runs; it is no propeller
    assert (campaign.runs[0].motor, campaign.runs[0].propeller) == ("motor-A", "propeller-1")
    (log,) = try_read_runs(campaign)[0]
    assert set(log.channels) == {"throttle", "voltage", "current", "speed", "thrust", "torque"}


def test_two_columns_of_one_unit_are_a_question(tmp_path: Path) -> None:
    header = FOREIGN.replace("Gas [%]", "Spannung 2 [V]")
    (tmp_path / "ramp.csv").write_text(header + "".join(rows(60)))
    proposal = propose(tmp_path)
    assert any("by its unit; or is it Spannung [V]?" in line for line in proposal.unsure)
    assert any(line.startswith("# throttle = ") and "is it one of: " in line for line in proposal.unsure)


def test_other_quantities_of_a_unit_are_not_proposed(tmp_path: Path) -> None:
    header = FOREIGN.replace("Gas [%]", "Efficiency [%]").replace("Schub [N]", "Vibration [g]")
    (tmp_path / "no-load.csv").write_text(header + "".join(rows(60)))
    text = propose(tmp_path).text
    assert "\nthrottle = " not in text and "\nthrust = " not in text


def test_a_disc_and_limits_of_current_are_marked(tmp_path: Path) -> None:
    simulate_campaign(tmp_path, seed=8, options=BenchOptions(motors=1, runs=("spin-up", "coast-down")))
    (tmp_path / "campaign.toml").unlink()
    unsure = propose(tmp_path).unsure
    for start in ('flywheel = "disc"', '# flywheel = "disc"', "inertia_kg_m2", "# current_limit_a"):
        assert any(line.startswith(start) for line in unsure), start


@pytest.mark.parametrize(
    "header", ["eRPM", "ERPM", "eRPM [1/min]", "electrical speed (rpm)", "electrical_speed_rpm"]
)
def test_electrical_speed_needs_the_pole_pairs(tmp_path: Path, header: str) -> None:
    text = HEADER.replace("speed [rpm]", header) + "".join(rows(60))
    (tmp_path / "ramp.csv").write_text(text)
    proposal = propose(tmp_path)
    assert any(line.startswith("pole_pairs = 7") for line in proposal.unsure)
    (tmp_path / "campaign.toml").write_text(proposal.text)
    (log,) = try_read_runs(load_campaign(tmp_path / "campaign.toml"))[0]
    assert log.channels["speed"][0] == pytest.approx(2000 / 7 * 0.10471975511965977)
