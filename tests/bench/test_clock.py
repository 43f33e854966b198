from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.bench.clock import make_clock
from motorfit.bench.findings import LogError
from motorfit.bench.logs import RunLog
from motorfit.bench.stamps import seconds_of_stamps
from tests.bench.helpers import kinds, log_with


def ramp(folder: Path, stamps: list[str], header: str = "time [s]") -> RunLog:
    body = "".join(f"{t},{1000 + 10 * i}\n" for i, t in enumerate(stamps))
    return log_with(folder, f"{header},speed [rpm]\n{body}")


def times(log: RunLog) -> list[float]:
    assert log.time_s is not None
    assert log.time_s[0] == 0 and np.all(np.diff(log.time_s) > 0)
    return [round(float(t), 9) for t in log.time_s]


@pytest.mark.parametrize(
    ("header", "stamps"),
    [
        ("time [ms]", ["1500", "1510", "1530"]),
        ("time_us", ["7000000", "7010000", "7030000"]),
        ("time (min)", ["0.05", "0.0501666666666667", "0.0505"]),
        ("timestamp", ["2030-03-01T12:00:00.00", "2030-03-01T12:00:00.01", "2030-03-01T12:00:00.03"]),
        ("timestamp", ["2030-03-01 23:59:59.99Z", "2030-03-02 00:00:00Z", "2030-03-02 00:00:00.02Z"]),
        ("time", ["12:00:00.00", "12:00:00.01", "12:00:00.03"]),
        ("time", ["23:59:59.99", "00:00:00.00", "00:00:00.02"]),
        ("time", ["01.03.2030 12:00:00.00", "01.03.2030 12:00:00.01", "01.03.2030 12:00:00.03"]),
        ("millis", ["65530", "4", "24"]),
        ("micros", ["4294967290", "9994", "29994"]),
    ],
)
def test_every_kind_of_time(tmp_path: Path, header: str, stamps: list[str]) -> None:
    if header in ("millis", "micros"):  # a wrap is told by the steps around it
        step = 10 if header == "millis" else 10_000
        before = [str(int(stamps[0]) - step * k) for k in range(20, 0, -1)]
        assert times(ramp(tmp_path, before + stamps, header))[-3:] == [0.2, 0.21, 0.23]
    else:
        assert times(ramp(tmp_path, stamps, header)) == [0.0, 0.01, 0.03]


def test_a_stamp_out_of_order_is_left_out(tmp_path: Path) -> None:
    log = ramp(tmp_path, ["0", "0.1", "0.2", "0.05", "0.3", "9", "0.4", "0.5"])
    assert times(log) == [0, 0.1, 0.2, 0.3, 0.4, 0.5]
    (found,) = log.findings
    assert found.kind == "backward-time" and found.rows == (5, 7)


def test_a_row_written_twice_counts_once(tmp_path: Path) -> None:
    log = log_with(tmp_path, "time [s],speed [rpm]\n0,1000\n0.1,1100\n0.1,1100\n0.2,1200\n")
    assert times(log) == [0, 0.1, 0.2] and kinds(log) == ["repeated-rows"]


def test_rows_of_one_stamp_become_their_mean(tmp_path: Path) -> None:
    log = log_with(tmp_path, "time [s],speed [rpm],thrust [N]\n0,10,1\n0.1,20,2\n0.1,30,\n0.2,40,4\n")
    assert times(log) == [0, 0.1, 0.2]
    np.testing.assert_allclose(log.channels["speed"] * 60 / (2 * np.pi), [10, 25, 40])
    np.testing.assert_allclose(log.channels["thrust"], [1, 2, 4])
    assert "repeated-stamps" in kinds(log)


def test_two_runs_in_one_file_are_refused(tmp_path: Path) -> None:
    stamps = [f"{0.01 * i:.2f}" for i in range(60)] * 2
    with pytest.raises(LogError, match=r"row 62: time goes back by 0\.59 s.*part = 2, rows 62 to 121"):
        ramp(tmp_path, stamps)


@given(st.lists(st.integers(0, 30), min_size=2, max_size=60), st.integers(0, 2**32 - 1))
def test_a_clock_goes_forward_or_is_refused(ticks: list[int], seed: int) -> None:
    stamps = np.array(ticks, dtype=float)
    values = np.random.default_rng(seed).normal(size=len(stamps))
    clock, remarks = make_clock(stamps, np.arange(len(stamps)), 1.0, np.arange(len(stamps) * 1.0)[:, None])
    if clock is None:
        assert any(r.severity == "error" for r in remarks)
        return
    assert clock.time_s[0] == 0 and np.all(np.diff(clock.time_s) > 0)
    gathered = clock.gather(values)
    assert gathered.shape == clock.time_s.shape
    used = values[clock.rows]
    assert used.min() - 1e-12 <= gathered.min() and gathered.max() <= used.max() + 1e-12
    assert len(clock.rows) == len(stamps) or remarks


def test_few_stamps_are_no_clock() -> None:
    assert seconds_of_stamps({0: "12:00:00"}, 5) is None
    assert seconds_of_stamps(dict.fromkeys(range(5), "abc"), 5) is None
