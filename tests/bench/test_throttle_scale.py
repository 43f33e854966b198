"""Throttle on scales of its own: taken where it is stated, asked about with candidates where it is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.findings import LogError
from motorfit.bench.propose import propose
from motorfit.bench.throttlescale import likely_scale, told_scale
from motorfit.units import UnitError, channel_conversion
from tests.bench.helpers import HEADER, kinds, log_with, rows

SHARE = np.linspace(0.0, 1.0, 101)
SCALES = {"0 to 255": (0, 255), "0 to 1000": (0, 1000), "48 to 2047": (48, 2047), "0 to 2000": (0, 2000)}


def content(throttle: np.ndarray, name: str) -> str:
    body = rows(len(throttle))
    cells = [line.split(",") for line in body]
    return HEADER.replace("throttle [%]", name) + "".join(
        ",".join([c[0], f"{u:.4g}", *c[2:]]) for c, u in zip(cells, throttle, strict=True)
    )


@pytest.mark.parametrize("unit", SCALES)
@pytest.mark.parametrize("where", ["file", "header"])
def test_a_stated_scale(tmp_path: Path, unit: str, where: str) -> None:
    low, high = SCALES[unit]
    text = content(low + SHARE * (high - low), "throttle" if where == "file" else f"throttle [{unit}]")
    more = 'propeller = "p7x35x3"\n'
    if where == "file":
        more += f'[runs.columns]\nthrottle = {{ column = "throttle", unit = "{unit}" }}\n'
    log = log_with(tmp_path, text, more=more)
    assert kinds(log) == []
    np.testing.assert_allclose(log.channels["throttle"], SHARE, atol=1e-3)


@pytest.mark.parametrize("unit", SCALES)
def test_an_unstated_scale_is_asked_about(tmp_path: Path, unit: str) -> None:
    low, high = SCALES[unit]
    with pytest.raises(LogError, match="does not say its unit; it goes from") as caught:
        log_with(tmp_path, content(low + SHARE * (high - low), "throttle"))
    assert f'"{unit}" (up to 100 %)' in str(caught.value)
    with pytest.raises(LogError, match="where 0 to 1 is full range") as caught:
        log_with(tmp_path, content(low + SHARE * (high - low), "throttle [1]"))
    assert f'"{unit}" (up to 100 %)' in str(caught.value)


@pytest.mark.parametrize("unit", SCALES)
def test_an_unstated_scale_is_proposed(tmp_path: Path, unit: str) -> None:
    low, high = SCALES[unit]
    (tmp_path / "a-ramp.csv").write_text(content(low + SHARE * (high - low), "throttle"))
    (line,) = [u for u in propose(tmp_path).unsure if u.startswith("throttle =")]
    assert f'unit = "{unit}"' in line and "candidates" in line


@pytest.mark.parametrize(
    ("values", "unit"),
    [
        (SHARE, "1"),
        (100 * SHARE, "%"),
        (1000 + 900 * SHARE, "us"),
        (np.concatenate([np.zeros(20), 1000 + 900 * SHARE]), "us"),
        (np.array([0.0, 1500.0, 1500.0]), None),  # pulses, or a count up to 2000
        (255 * SHARE, None),
        (-SHARE, None),
    ],
)
def test_what_the_range_tells(values: np.ndarray, unit: str | None) -> None:
    assert told_scale(values) == unit


def test_nothing_likely_of_numbers_that_are_no_throttle() -> None:
    assert likely_scale(np.array([-500.0, 500.0])) is None
    assert likely_scale(np.array([np.nan])) is None


def test_no_pulse_is_no_throttle(tmp_path: Path) -> None:
    throttle = np.where(SHARE < 0.1, 0.0, 1000 + 1000 * SHARE)
    log = log_with(tmp_path, content(throttle, "pwm [us]"))
    assert kinds(log) == ["no-pulse"]
    np.testing.assert_allclose(log.channels["throttle"], np.where(SHARE < 0.1, 0.0, SHARE), atol=1e-3)


def test_two_ends_that_are_one() -> None:
    with pytest.raises(UnitError, match="two ends that are one"):
        channel_conversion("throttle", "5 to 5")
    assert channel_conversion("throttle", "2000..1000").factor == pytest.approx(-1e-3)


def test_a_time_without_a_unit_says_how_long_the_log_would_be(tmp_path: Path) -> None:
    body = "".join(f"{600 * i},{1000 + i}\n" for i in range(100))
    with pytest.raises(LogError) as caught:
        log_with(tmp_path, "time,speed [rpm]\n" + body)
    assert "the log would last 16.5 hours in s, a row every 600 s; 59.4 s in ms, a row every 600 ms" in str(
        caught.value
    )
