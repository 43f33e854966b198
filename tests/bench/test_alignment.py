"""A voltage that is logged late against the current that makes it sag."""

from __future__ import annotations

import numpy as np
import pytest

from motorfit.bench.alignment import aligned_voltage, shown_lateness, voltage_lateness
from tests.bench.series import Array, run_of

TIME: Array = np.arange(4000) * np.float64(0.002)


def _steps(rng: np.random.Generator, late_s: float) -> tuple[Array, Array]:
    """Voltage behind 20 mohm and current of a run of throttle steps; the voltage late by some time."""

    def current(t: Array) -> Array:
        return np.where((t // 1.0) % 2 == 0, 5.0, 20.0 + 15.0 * np.exp(-(t % 1.0) / 0.08))

    volts = 16.0 - 0.1 * TIME - 0.02 * current(TIME - late_s) + 0.01 * rng.standard_normal(TIME.size)
    return np.asarray(volts), np.asarray(current(TIME) + 0.2 * rng.standard_normal(TIME.size))


@pytest.mark.parametrize("late_s", [-0.03, 0.012, 0.08])
def test_lateness_is_found_and_mended(late_s: float) -> None:
    rng = np.random.default_rng(2)
    volts, amps = _steps(rng, late_s)
    assert voltage_lateness(TIME, volts, amps) == pytest.approx(late_s, abs=0.002)
    moved, (finding,) = aligned_voltage(run_of("steps"), TIME, volts, amps)
    assert voltage_lateness(TIME, moved, amps) == 0.0
    assert finding.kind == "late-channel" and finding.channel == "voltage"
    assert f"{1e3 * abs(late_s):.0f} ms {'after' if late_s > 0 else 'before'}" in finding.message


def test_a_run_that_shows_nothing_goes_with_the_others() -> None:
    rng = np.random.default_rng(2)
    volts = 16.0 + 0.01 * rng.standard_normal(TIME.size)
    amps = 5.0 + 0.2 * rng.standard_normal(TIME.size)
    assert shown_lateness(TIME, volts, amps) is None
    moved, (finding,) = aligned_voltage(run_of("no-load"), TIME, volts, amps, 0.006)
    np.testing.assert_allclose(moved[:-3], volts[3:], rtol=1e-12)
    assert "as in other runs" in finding.message
    steps, currents = _steps(rng, 0.0)
    assert shown_lateness(TIME, steps, currents) == 0.0
    moved, findings = aligned_voltage(run_of("steps"), TIME, steps, currents, 0.006)
    np.testing.assert_array_equal(moved, steps)
    assert findings == ()


def test_missing_readings_stay_missing() -> None:
    rng = np.random.default_rng(2)
    volts, amps = _steps(rng, 0.04)
    volts[100:140] = np.nan
    moved, _ = aligned_voltage(run_of("steps"), TIME, volts, amps)
    np.testing.assert_array_equal(np.isnan(moved), np.isnan(volts))


@pytest.mark.parametrize("kind", ["on time", "stiff", "constant", "short"])
def test_nothing_is_moved_without_a_reason(kind: str) -> None:
    rng = np.random.default_rng(5)
    volts, amps = _steps(rng, 0.0)
    time = TIME
    if kind == "stiff":
        volts = 16.0 + 0.01 * rng.standard_normal(TIME.size)
    if kind == "constant":
        volts = np.full(TIME.size, 16.0)
    if kind == "short":
        time, volts, amps = TIME[:40], volts[:40], amps[:40]
    moved, findings = aligned_voltage(run_of("steps"), time, volts, amps)
    np.testing.assert_array_equal(moved, volts)
    assert findings == ()
