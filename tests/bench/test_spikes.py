"""Lone samples of speed that no shaft could have produced."""

from __future__ import annotations

import numpy as np

from motorfit.bench.spikes import without_spikes
from tests.bench.series import Array, run_of

TIME: Array = np.arange(1000) * np.float64(0.01)


def test_spikes_are_taken_out_and_counted(rng: np.random.Generator) -> None:
    speed = 800.0 + 50.0 * TIME + 2.0 * rng.standard_normal(TIME.size)
    speed[[200, 600]] = 0.0, 2600.0
    kept = speed.copy()
    cleaned, findings = without_spikes(run_of("ramp"), "speed", TIME, speed)
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(cleaned)), [200, 600])
    np.testing.assert_array_equal(speed, kept)  # the caller's log is not touched
    (finding,) = findings
    assert (finding.kind, finding.severity, finding.channel) == ("spikes", "warning", "speed")
    assert finding.rows == (201, 601)
    assert (finding.start_s, finding.end_s) == (2.0, 6.0)
    assert "2 lone sample(s)" in finding.message


def test_steps_noise_and_gaps_pass(rng: np.random.Generator) -> None:
    speed = np.where(TIME < 5.0, 400.0, 1200.0) + 2.0 * rng.standard_normal(TIME.size)
    speed[300:320] = np.nan
    cleaned, findings = without_spikes(run_of("steps"), "speed", TIME, speed)
    np.testing.assert_array_equal(cleaned, speed)
    assert findings == ()


def test_other_channels_may_jump() -> None:
    current = np.full(TIME.size, 3.0)
    current[500] = 90.0
    cleaned, findings = without_spikes(run_of("steps"), "current", TIME, current)
    np.testing.assert_array_equal(cleaned, current)
    assert findings == ()
