"""Proposals for odd folders: no header, parts of different kinds, times of day, a wheel's speed."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import try_read_runs
from motorfit.bench.propose import propose
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign
from motorfit.units import RPM
from tests.bench.helpers import HEADER, log_with, rows


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """Lines of simulated logs, header first, by kind."""
    folder = tmp_path_factory.mktemp("day")
    kinds = ("no-load", "ramp", "spin-up", "steps", "coast-down")
    simulate_campaign(folder, seed=21, options=BenchOptions(motors=1, runs=kinds, sample_rate_hz=250.0))
    return {
        kind: next((folder / "logs").glob(f"*{kind}*")).read_text().splitlines(keepends=True)
        for kind in kinds
    }


def test_columns_without_a_header_are_told_by_their_numbers(
    tmp_path: Path, day: dict[str, list[str]]
) -> None:
    (tmp_path / "0001.csv").write_text("".join(day["ramp"][1:]))
    proposal = propose(tmp_path)
    assert 'kind = "ramp"' in proposal.text
    for channel, column, unit in (
        ("time", 1, "s"),
        ("throttle", 2, "%"),
        ("voltage", 3, "V"),
        ("speed", 5, "rpm"),
    ):
        start = f'{channel} = {{ column = {column}, unit = "{unit}" }}'
        assert any(line.startswith(start) for line in proposal.unsure), start
    # a current looks like a thrust
    assert any(line.startswith("# current = { column = 4") and "4, 6, 7?" in line for line in proposal.unsure)
    (tmp_path / "campaign.toml").write_text(proposal.text)
    (log,), _ = try_read_runs(load_campaign(tmp_path / "campaign.toml"))
    assert set(log.channels) == {"throttle", "voltage", "speed"}


def test_parts_are_of_their_own_kinds(tmp_path: Path, day: dict[str, list[str]]) -> None:
    (tmp_path / "log.csv").write_text("".join(day["no-load"] + day["spin-up"]))
    proposal = propose(tmp_path)
    first, second = proposal.text.split("[[runs]]")[1:]
    assert 'kind = "no-load"' in first and "part = 1" in first
    assert 'kind = "spin-up"' in second and "part = 2" in second and '\nflywheel = "disc"' in second
    (tmp_path / "campaign.toml").write_text(proposal.text)
    logs, findings = try_read_runs(load_campaign(tmp_path / "campaign.toml"))
    assert [log.run.kind for log in logs] == ["no-load", "spin-up"]
    assert {f.severity for f in findings} == {"note"}  # the header between them is what parts them


def test_times_of_day_need_no_unit(tmp_path: Path) -> None:
    start = dt.datetime(2030, 3, 1, 9, 59, 59)
    for name, form in (("a-ramp.csv", "%Y-%m-%dT%H:%M:%S.%f"), ("b-ramp.csv", "%H:%M:%S.%f")):
        lines = [
            (start + dt.timedelta(seconds=0.01 * i)).strftime(form) + "," + line.partition(",")[2]
            for i, line in enumerate(rows(200))
        ]
        (tmp_path / name).write_text(HEADER.replace("time [s]", "time") + "".join(lines))
    proposal = propose(tmp_path)
    assert proposal.runs == 2 and not any(line.startswith("time") for line in proposal.unsure)
    (tmp_path / "campaign.toml").write_text(proposal.text)
    for log in try_read_runs(load_campaign(tmp_path / "campaign.toml"))[0]:
        assert log.time_s is not None
        np.testing.assert_allclose(log.time_s, 0.01 * np.arange(200), atol=1e-6)


def test_a_wheels_speed_is_taken_at_its_word(tmp_path: Path, day: dict[str, list[str]]) -> None:
    header = day["coast-down"][0].replace("speed [rpm]", "Flywheel speed (rev/min)")
    (tmp_path / "coast-down.csv").write_text(header + "".join(day["coast-down"][1:]))
    proposal = propose(tmp_path)
    assert any(line.startswith('speed_of = "flywheel"') and "is a column" in line for line in proposal.unsure)
    (tmp_path / "campaign.toml").write_text(proposal.text)
    assert load_campaign(tmp_path / "campaign.toml").runs[0].speed_of == "flywheel"


def test_unsure_lines_say_where_they_stand(tmp_path: Path) -> None:
    (tmp_path / "heron-ramp-7x3.5x3.csv").write_text(
        HEADER.replace("thrust [N]", "thrust") + "".join(rows(60))
    )
    proposal = propose(tmp_path)
    found = dict(zip(proposal.unsure, proposal.places, strict=True))
    assert next(p for line, p in found.items() if line.startswith("thrust =")) == "run heron-ramp-7x3.5x3"
    assert next(p for line, p in found.items() if line.startswith("blades")) == "propeller 7x3.5x3"
    assert next(p for line, p in found.items() if line.startswith("pressure_hpa")) == "air"


def test_a_column_of_dates_is_the_time(tmp_path: Path) -> None:
    stamps = [f"2030-03-01 09:59:{59.0 - 0.01 * (200 - i):05.2f}" for i in range(200)]
    lines = [f"{s},{line.partition(',')[2]}" for s, line in zip(stamps, rows(200), strict=True)]
    (tmp_path / "ramp.csv").write_text(HEADER.replace("time [s]", "Zeitstempel") + "".join(lines))
    proposal = propose(tmp_path)
    assert any(line.startswith('time = { column = "Zeitstempel" }') for line in proposal.unsure)
    (tmp_path / "campaign.toml").write_text(proposal.text)
    (log,), _ = try_read_runs(load_campaign(tmp_path / "campaign.toml"))
    assert log.time_s is not None and log.time_s[-1] == pytest.approx(1.99)


def test_numbers_torn_by_commas_are_not_proposed(tmp_path: Path) -> None:
    body = "".join(",".join(c.replace(".", ",") for c in line.split(",")) for line in rows(60))
    (tmp_path / "ramp.csv").write_text(HEADER + body)
    (tmp_path / "no-load.csv").write_text(HEADER + "".join(rows(60)))
    (left,) = propose(tmp_path).left_out
    assert left.startswith("ramp.csv: the header has 7 cells") and "Decimal commas" in left


def test_names_in_quotes_over_several_lines(tmp_path: Path) -> None:
    names = ",".join('"' + name.replace(" [", "\n[") + '"' for name in HEADER.strip().split(","))
    log = log_with(tmp_path, names + "\n" + "".join(rows()))
    assert log.findings == () and log.rows is not None and log.rows[0] == 9
    assert set(log.channels) == {"throttle", "voltage", "current", "speed", "thrust", "torque"}


@pytest.mark.parametrize("name", ["eRPM/100", "erpm / 100", "electrical_rpm/100"])
def test_electrical_speed_in_hundreds(tmp_path: Path, name: str) -> None:
    (tmp_path / "ramp.csv").write_text(HEADER.replace("speed [rpm]", name) + "".join(rows(60)))
    proposal = propose(tmp_path)
    assert any(line.startswith("pole_pairs = 7") for line in proposal.unsure)
    (tmp_path / "campaign.toml").write_text(proposal.text)
    (log,), _ = try_read_runs(load_campaign(tmp_path / "campaign.toml"))
    assert log.channels["speed"][0] == pytest.approx(2000 * 100 / 7 * RPM)


@pytest.mark.parametrize("above", ["Test 14,,4 March\n", "stand 4,22 V\n,5 runs\n", "7x3.5,2 blades\n\n"])
def test_remarks_above_the_header_that_look_like_readings(tmp_path: Path, above: str) -> None:
    log = log_with(tmp_path, above + HEADER + "".join(rows()))
    assert [f.kind for f in log.findings] == ["preamble"]
    assert log.time_s is not None and len(log.time_s) == 30
