"""Stretches of rows that a logger wrote twice are told from two runs, located and taken once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.copies import written_twice
from motorfit.bench.findings import LogError
from motorfit.bench.propose import propose
from tests.bench.helpers import HEADER, kinds, log_with, rows

LINES = rows(200)


@pytest.mark.parametrize(
    ("lines", "copies"),
    [
        (LINES[:120] + LINES[60:120] + LINES[120:], range(122, 182)),
        (LINES[:120] + LINES[30:40] + LINES[120:], range(122, 132)),
        (LINES + LINES[150:], range(202, 252)),
        (LINES[:120] + LINES[60:120] + LINES[60:120] + LINES[120:], range(122, 242)),
        (LINES[:80] + LINES[60:120] + LINES[100:], [*range(82, 102), *range(142, 162)]),
    ],
    ids=["a stretch", "an earlier one", "the end", "thrice", "two stretches"],
)  # fmt: skip
def test_a_stretch_written_twice_is_taken_once(tmp_path: Path, lines: list[str], copies: range) -> None:
    plain = log_with(tmp_path, HEADER + "".join(LINES))
    log = log_with(tmp_path, HEADER + "".join(lines))
    assert kinds(log) == ["repeated-rows"]
    assert log.findings[0].rows == tuple(copies)[:100]
    assert log.time_s is not None and plain.time_s is not None
    np.testing.assert_array_equal(log.time_s, plain.time_s)
    for channel, values in plain.channels.items():
        np.testing.assert_array_equal(log.channels[channel], values)


def test_readings_that_differ_are_another_run(tmp_path: Path) -> None:
    again = [line.replace(",22.", ",21.") for line in LINES[60:120]]
    with pytest.raises(LogError, match="time goes back"):
        log_with(tmp_path, HEADER + "".join(LINES[:120] + again + LINES[120:]))


def test_a_whole_log_twice_is_for_a_person_to_say(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="Part 2 repeats part 1 to the last digit"):
        log_with(tmp_path, HEADER + "".join(LINES * 2))
    other = [line.replace("23.", "22.") for line in LINES]
    with pytest.raises(LogError, match="time goes back") as caught:
        log_with(tmp_path, HEADER + "".join(LINES + other))
    assert "to the last digit" not in str(caught.value)


def test_a_stretch_written_twice_makes_no_second_run(tmp_path: Path) -> None:
    (tmp_path / "a-ramp.csv").write_text(HEADER + "".join(LINES[:120] + LINES[60:]))
    assert propose(tmp_path).runs == 1


def test_rows_of_all_orders_are_no_copies() -> None:
    rng = np.random.default_rng(1)
    time = np.array(rng.permutation(np.linspace(0.0, 10.0, 1000)), dtype=np.float64)
    assert not written_twice(time, time[:, None]).any()
    assert not written_twice(np.sort(time), time[:, None]).any()
