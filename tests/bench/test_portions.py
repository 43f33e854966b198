from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.campaign import CampaignError, load_campaign
from motorfit.bench.codes import fault_codes
from motorfit.bench.findings import LogError
from motorfit.bench.logs import read_run
from motorfit.bench.propose import propose
from tests.bench.helpers import CAMPAIGN, HEADER, kinds, log_with, rows

LOAD = 'propeller = "p7x35x3"\n'


def _first_cells(lines: list[str], value: str) -> str:
    return "".join(f"{line.strip()},{value}\n" for line in lines)


@pytest.mark.parametrize("header", ["", HEADER])
def test_parts_are_told_by_time_or_by_the_header(tmp_path: Path, header: str) -> None:
    text = HEADER + "".join(rows(40)) + header + "".join(rows(60))
    first = log_with(tmp_path, text, more=LOAD + "part = 1")
    second = log_with(tmp_path, text, more=LOAD + "part = 2")
    assert first.time_s is not None and second.time_s is not None
    assert len(first.time_s) == 40 and len(second.time_s) == 60 and second.time_s[0] == 0.0
    assert first.rows is not None and second.rows is not None
    assert first.rows[-1] == 41 and second.rows[0] == 42 + (header != "")
    with pytest.raises(
        LogError, match=r"part 3 is asked for; the file has: part = 1, rows 2 to 41; part = 2"
    ):
        log_with(tmp_path, text, more=LOAD + "part = 3")
    with pytest.raises(LogError, match="time goes back"):
        log_with(tmp_path, text)


def test_a_span_of_time(tmp_path: Path) -> None:
    log = log_with(tmp_path, HEADER + "".join(rows(100)), more=LOAD + "from_s = 0.2\nto_s = 0.5")
    assert log.time_s is not None and log.rows is not None
    assert log.time_s[0] == 0.0 and len(log.time_s) == 30
    assert log.rows[0] == 22 and kinds(log) == ["part-of-file"]
    assert "from 0.2 to 0.49 s" in log.findings[0].message
    with pytest.raises(LogError, match=r"the log goes from 0 to 0\.99 s"):
        log_with(tmp_path, HEADER + "".join(rows(100)), more=LOAD + "from_s = 5")


@pytest.mark.parametrize(("values", "equals"), [(("1", "2"), "2"), (("up", "down"), '"down"')])
def test_rows_of_a_column(tmp_path: Path, values: tuple[str, str], equals: str) -> None:
    text = HEADER.strip() + ",run\n" + _first_cells(rows(30), values[0]) + _first_cells(rows(50), values[1])
    log = log_with(tmp_path, text, more=f'{LOAD}where = {{ column = "run", equals = {equals} }}')
    assert log.time_s is not None and len(log.time_s) == 50
    with pytest.raises(LogError, match=r'in "run"; it holds'):
        log_with(tmp_path, text, more=f'{LOAD}where = {{ column = "run", equals = 7 }}')
    with pytest.raises(LogError, match=r'Did you mean "run"'):
        log_with(tmp_path, text, more=f'{LOAD}where = {{ column = "runs", equals = 7 }}')


def _two(folder: Path, one: str, two: str) -> str:
    (folder / "a.csv").write_text(HEADER + "".join(rows(100)))
    second = f'\n[[runs]]\nid = "b"\nmotor = "heron"\nkind = "ramp"\nfile = "a.csv"\n{LOAD}{two}\n'
    (folder / "c.toml").write_text(CAMPAIGN.format(kind="ramp", file="a.csv", more=LOAD + one) + second)
    try:
        load_campaign(folder / "c.toml")
    except CampaignError as error:
        return str(error)
    return ""


def test_runs_that_share_rows_are_refused(tmp_path: Path) -> None:
    assert _two(tmp_path, "part = 1", "part = 2") == ""
    assert _two(tmp_path, "to_s = 0.5", "from_s = 0.5") == ""
    assert _two(tmp_path, "where = {column = 1, equals = 1}", "where = {column = 1, equals = 2}") == ""
    assert "would count double" in _two(tmp_path, "to_s = 0.6", "from_s = 0.5")
    assert "would count double" in _two(tmp_path, "part = 1", "from_s = 0.5")
    assert "above from_s" in _two(tmp_path, "to_s = 0.5", "from_s = 0.9\nto_s = 0.8")


def test_fault_codes_are_missing_and_named(tmp_path: Path) -> None:
    lines = rows(60)
    for i in (20, 21, 40):
        cells = lines[i].split(",")
        cells[1] = cells[3] = "255"
        lines[i] = ",".join(cells)
    log = log_with(tmp_path, HEADER + "".join(lines))
    coded = {f.channel: f.rows for f in log.findings if f.kind == "fault-code"}
    assert coded == {"throttle": (22, 23, 42), "current": (22, 23, 42)}
    assert np.isnan(log.channels["current"]).sum() == 3


def test_what_grows_to_255_is_no_code() -> None:
    assert fault_codes(np.arange(256.0))[1] == ()
    assert fault_codes(np.full(50, 255.0))[1] == ()
    mask, codes = fault_codes(np.append(np.linspace(20, 60, 40), [255.0, -999.0]))
    assert codes == (255.0, -999.0) and mask.sum() == 2


def test_positions_work_without_a_header(tmp_path: Path) -> None:
    lines = [f"{i % 50 * 0.01:.2f} {2000 + i} {i // 50}\n" for i in range(100)]
    more = (
        'where = { column = 3, equals = 1 }\n[runs.columns]\ntime = { column = 1, unit = "s" }\n'
        'speed = { column = 2, unit = "rpm" }'
    )
    (tmp_path / "a.txt").write_text("".join(lines))
    (tmp_path / "c.toml").write_text(CAMPAIGN.format(kind="coast-down", file="a.txt", more=more))
    campaign = load_campaign(tmp_path / "c.toml")
    log = read_run(campaign, campaign.runs[0])
    assert log.rows is not None and log.rows[0] == 51 and len(log.rows) == 50


def _propose(folder: Path, name: str, lines: list[str]) -> list[str]:
    (folder / name).write_text("".join(lines))
    return [line for line in propose(folder).text.splitlines() if line.startswith(("part", "kind"))]


def test_a_log_turned_about_is_one_run(tmp_path: Path) -> None:
    assert len(_propose(tmp_path, "a.csv", [HEADER, *rows(200)[::-1]])) == 1


def test_a_header_within_a_run_begins_no_other(tmp_path: Path) -> None:
    assert len(_propose(tmp_path, "a.csv", [HEADER, *rows(60)[:30], HEADER, *rows(60)[30:]])) == 1


def test_a_counter_that_wraps_is_one_run(tmp_path: Path) -> None:
    """A counter of 16 bits in milliseconds starts again at zero after 65 s."""
    lines = [f"{(65000 + 10 * i) % 65536}," + row.split(",", 1)[1] for i, row in enumerate(rows(200))]
    assert len(_propose(tmp_path, "a.csv", [HEADER.replace("time [s]", "time [ms]"), *lines])) == 1


def test_a_header_after_a_pause_begins_another(tmp_path: Path) -> None:
    later = [f"{5.0 + float(row.split(',', 1)[0]):.4f},{row.split(',', 1)[1]}" for row in rows(60)]
    said = _propose(tmp_path, "a.csv", [HEADER, *rows(60), HEADER, *later])
    assert [line[:8] for line in said if line.startswith("part")] == ["part = 1", "part = 2"]
