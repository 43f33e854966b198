"""A log that reading refuses, for looking at: its channels by the lines of its file."""

from __future__ import annotations

from pathlib import Path

import pytest

from motorfit.bench.findings import LogError
from motorfit.bench.logs import as_it_lies, read_run

from .helpers import HEADER, campaign_with, rows


def test_a_log_whose_clock_starts_over_lies_by_its_lines(tmp_path: Path) -> None:
    campaign = campaign_with(tmp_path, HEADER + "".join(rows(60) + rows(60)))
    (run,) = campaign.runs
    with pytest.raises(LogError):
        read_run(campaign, run)
    log = as_it_lies(campaign, run)
    assert log is not None and log.rows is not None
    assert log.time_s is None
    assert log.rows.tolist() == list(range(2, 122))
    assert log.channels["voltage"][0] == log.channels["voltage"][60] == pytest.approx(23.5)


def test_a_log_with_another_error_keeps_its_time(tmp_path: Path) -> None:
    wrong = HEADER.replace("throttle [%]", "throttle [1]")
    campaign = campaign_with(tmp_path, wrong + "".join(rows()))
    log = as_it_lies(campaign, campaign.runs[0])
    assert log is not None and log.time_s is not None
    assert log.channels["throttle"][0] == pytest.approx(10.0)


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02" * 50, b"name,colour\nfir,green\nash,grey\n"])
def test_what_is_no_log_does_not_lie_anyhow(tmp_path: Path, content: bytes) -> None:
    campaign = campaign_with(tmp_path, content)
    assert as_it_lies(campaign, campaign.runs[0]) is None
    campaign.runs[0].file.unlink()
    assert as_it_lies(campaign, campaign.runs[0]) is None
