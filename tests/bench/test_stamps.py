"""Dates and times of day read in pieces, as in long logs, are those read line by line."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from motorfit.bench import bulk
from motorfit.bench.logs import RunLog
from motorfit.bench.stamps import form_of_stamps, nanoseconds_of
from tests.bench.helpers import HEADER, kinds, log_with, rows

START = dt.datetime(2030, 3, 1, 23, 59, 59)
FORMS = {
    "plain": "%Y-%m-%dT%H:%M:%S.%f",
    "with a blank": "%Y-%m-%d %H:%M:%S.%f",
    "zoned": "%Y-%m-%dT%H:%M:%S.%fZ",
    "offset": "%Y-%m-%dT%H:%M:%S.%f+02:00",
    "clock": "%H:%M:%S.%f",
}


def stamped(form: str) -> list[str]:
    """300 rows over three seconds, through midnight."""
    return [
        (START + dt.timedelta(seconds=0.01 * i)).strftime(form) + "," + line.partition(",")[2]
        for i, line in enumerate(rows(300))
    ]


def both(folder: Path, lines: list[str], monkeypatch: pytest.MonkeyPatch) -> tuple[RunLog, RunLog]:
    """A log read line by line and in pieces."""
    text = HEADER.replace("time [s]", "time") + "".join(lines)
    small = log_with(folder, text)
    for name, size in (("LARGE", 10), ("PIECE", 1500), ("_SMALLEST", 600), ("TAIL", 300)):
        monkeypatch.setattr(bulk, name, size)
    return small, log_with(folder, text)


def same(a: RunLog, b: RunLog) -> None:
    assert a.time_s is not None and b.time_s is not None
    np.testing.assert_allclose(a.time_s, b.time_s, atol=2e-9)
    np.testing.assert_array_equal(a.rows, b.rows)
    for channel, values in a.channels.items():
        np.testing.assert_array_equal(values, b.channels[channel])
    assert a.findings == b.findings


@pytest.mark.parametrize("form", FORMS)
def test_the_same_times(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str) -> None:
    small, large = both(tmp_path, stamped(FORMS[form]), monkeypatch)
    same(small, large)
    assert large.time_s is not None and kinds(large) == []
    np.testing.assert_allclose(large.time_s, 0.01 * np.arange(300), atol=2e-9)


@pytest.mark.parametrize("form", FORMS)
def test_the_same_with_odd_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str) -> None:
    lines = stamped(FORMS[form])
    lines[50] = "# a remark\n"
    lines[120] = "yesterday," + lines[120].partition(",")[2]
    lines[200] = lines[200].replace("22000", "OL")
    lines[250] = "," + lines[250].partition(",")[2]
    small, large = both(tmp_path, lines, monkeypatch)
    same(small, large)
    assert kinds(large) == ["comment-lines", "no-time", "not-a-number"]


def test_a_log_of_odd_first_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = stamped(FORMS["plain"])
    lines[0] = lines[0].replace("2000,", "OL,")
    small, large = both(tmp_path, lines, monkeypatch)
    same(small, large)


def test_what_is_no_stamp_of_a_form() -> None:
    assert form_of_stamps(["12:00:00", "2030-01-01T12:00:00"]) is None and form_of_stamps([]) is None
    assert nanoseconds_of("2030-01-01T12:00:00Z", "plain") is None
    assert nanoseconds_of("noon", "clock") is None and nanoseconds_of("00:00:01.5", "clock") == 1_500_000_000
    assert nanoseconds_of("1970-01-01T02:00:00+02:00", "zoned") == 0
