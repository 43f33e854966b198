"""Rows in another order than their times: put in order where one clock ran, left alone where two did."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.findings import LogError
from motorfit.bench.logs import read_run, try_read_runs
from motorfit.bench.look_wiring import signs
from motorfit.bench.order import order_of_one_clock
from motorfit.units import RPM, UnitError, channel_conversion
from tests.bench.helpers import HEADER, campaign_with, kinds, log_with, rows

LINES = rows(200)
RNG = np.random.default_rng(7)
MIXED = {
    "turned about": LINES[::-1],
    "shuffled": [LINES[i] for i in RNG.permutation(200)],
    "two blocks exchanged": LINES[:50] + LINES[100:150] + LINES[50:100] + LINES[150:],
    "the end first": LINES[120:] + LINES[:120],
}


@pytest.mark.parametrize("name", MIXED)
def test_one_clock_is_put_in_order(tmp_path: Path, name: str) -> None:
    log = log_with(tmp_path, HEADER + "".join(MIXED[name]))
    plain = log_with(tmp_path, HEADER + "".join(LINES))
    assert kinds(log) == ["rows-sorted"]
    assert log.time_s is not None and plain.time_s is not None
    np.testing.assert_array_equal(log.time_s, plain.time_s)
    for channel, values in plain.channels.items():
        np.testing.assert_array_equal(log.channels[channel], values)
    assert log.rows is not None  # each reading still names the line it stands on
    lines = (HEADER + "".join(MIXED[name])).splitlines()
    for i in (0, 77, 199):
        assert f"{float(lines[int(log.rows[i]) - 1].split(',')[0]):.4f}" == f"{0.01 * i:.4f}"


@pytest.mark.parametrize(
    "time",
    [
        np.concatenate([np.arange(100), np.arange(100)]) * 0.01,  # starts over
        np.concatenate([np.arange(100), np.arange(100) + 0.5]) * 0.01,  # the other one between its stamps
        np.concatenate([np.arange(100) + 500, np.arange(100)]) * 0.01,  # a pause between
        np.concatenate([np.arange(100), np.arange(60, 100), np.arange(100, 200)]) * 0.01,  # a block twice
        np.zeros(100),
        np.array([0.0, 2.0, 1.0]),
    ],
)
def test_two_clocks_are_left_alone(time: np.ndarray) -> None:
    assert order_of_one_clock(time) is None


def test_a_column_that_counts_the_runs_is_proposed(tmp_path: Path) -> None:
    body = "".join(f"{line.strip()},{n}\n" for n in (3, 4) for line in rows(60))
    with pytest.raises(LogError, match=r'or by where = \{ column = "try", equals = 3 \} and so on'):
        log_with(tmp_path, HEADER.strip() + ",try\n" + body)


def test_a_current_that_is_small_at_top_speed_still_tells_its_sign(tmp_path: Path) -> None:
    """A spin-up draws its current long before it is fastest."""
    time = np.arange(0.0, 2.0, 0.01)
    speed, current = 20000.0 * (1.0 - np.exp(-time / 0.2)), 40.0 * np.exp(-time / 0.2) + 0.8
    found = {}
    for sign in (1.0, -1.0):
        body = "".join(
            f"{t:.2f},12.0,{sign * i:.3f},{n:.0f}\n" for t, i, n in zip(time, current, speed, strict=True)
        )
        campaign = campaign_with(
            tmp_path, "time [s],voltage [V],current [A],speed [rpm]\n" + body, kind="spin-up",
            more='flywheel = "disc"',
        )  # fmt: skip
        found[sign] = [(f.kind, f.channel) for f in signs(campaign, read_run(campaign, campaign.runs[0]))]
    assert found == {1.0: [], -1.0: [("sign", "current")]}


@pytest.mark.parametrize("unit", ["min⁻¹", "min-1", "min^-1", "1/min", "U/min"])
def test_speeds_with_a_raised_minus_one(unit: str) -> None:
    assert channel_conversion("speed", unit).factor == pytest.approx(RPM)


def test_other_signs_of_units() -> None:
    assert channel_conversion("throttle", "％").factor == 0.01
    assert channel_conversion("speed", "rad·s⁻¹").factor == 1.0
    with pytest.raises(UnitError, match="not known; allowed for speed: rpm"):
        channel_conversion("speed", "s⁻¹")


def test_decimal_commas_between_commas_are_guessed_at(tmp_path: Path) -> None:
    body = "".join(",".join(c.replace(".", ",") for c in line.split(",")) for line in rows(60))
    campaign = campaign_with(tmp_path, HEADER + body)
    _, found = try_read_runs(campaign)
    (width,) = [f for f in found if f.kind == "header-width"]
    assert width.remedy.startswith("Decimal commas between commas look like this")
    assert any(f.severity == "error" for f in found)


def test_a_wild_sample_beside_a_step_is_no_reading(tmp_path: Path) -> None:
    """At a slow rate every sample is beside a step; eight times the range is no reading all the same."""
    lines = ["time [s],throttle [%],voltage [V],current [A],speed [rpm],thrust [N]\n"]
    for i in range(160):
        x = 0.2 + 0.1 * (i // 4 % 6)
        thrust = 80.0 if i == 90 else 20.0 * x**2 + 0.01 * (i % 3)
        lines.append(
            f"{0.04 * i:.2f},{100 * x:.0f},{23 - x:.2f},{40 * x * x:.2f},{20000 * x:.0f},{thrust:.2f}\n"
        )
    log = log_with(tmp_path, "".join(lines), kind="steps")
    assert np.flatnonzero(~np.isfinite(log.channels["thrust"])).tolist() == [90]
    assert [(f.kind, f.rows) for f in log.findings if f.channel == "thrust"] == [("spikes", (92,))]
