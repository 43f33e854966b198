"""Which stretch of a run counts, and what is said of the rest."""

from __future__ import annotations

import numpy as np
import pytest

from motorfit.bench.findings import Finding
from motorfit.bench.models import Kind
from motorfit.bench.spans import AT_SPEED, DRIVEN, FREEWHEEL, driven_span, mode_of
from tests.bench.series import Array, run_of

TIME: Array = np.arange(800) * np.float64(0.01)


def coasting() -> dict[str, Array]:
    """Held at 900 rad/s for a second and a half, then left alone: at rest after some six seconds."""
    since = np.maximum(TIME - 1.5, 0.0)
    speed = 900.0 * np.maximum(np.exp(-since / 1.2) * 1.02 - 0.02, 0.0)
    speed[TIME < 1.5] = 900.0
    return {"speed": speed, "current": np.where(TIME < 1.495, 6.0, 0.0)}


def tells(findings: tuple[Finding, ...], start_s: float, end_s: float) -> bool:
    """Whether a finding says that this span is left out."""
    return any(
        f.kind == "left-out" and f.start_s == pytest.approx(start_s) and f.end_s == pytest.approx(end_s)
        for f in findings
    )


@pytest.mark.parametrize("kind", ["no-load", "spin-up", "ramp", "steps", "hold", "coast-down"])
@pytest.mark.parametrize("has_throttle", [False, True])
@pytest.mark.parametrize("has_voltage", [False, True])
def test_mode_follows_from_what_is_known(kind: Kind, has_throttle: bool, has_voltage: bool) -> None:
    channels = {"speed": np.full(9, 500.0), "voltage": np.full(9, 12.0 if has_voltage else np.nan)}
    if has_throttle:
        channels["throttle"] = np.full(9, 0.5)
    # without a throttle channel only no-load and spin-up runs are known to be at full throttle
    known = has_voltage and (has_throttle or kind in ("no-load", "spin-up"))
    wanted = FREEWHEEL if kind == "coast-down" else DRIVEN if known else AT_SPEED
    assert mode_of(run_of(kind), channels) == wanted


def test_coasting_begins_when_the_current_ends_and_stops_near_rest() -> None:
    channels = coasting()
    span, on, findings = driven_span(run_of("coast-down"), FREEWHEEL, TIME, channels)
    assert span.start == 150
    assert np.all(channels["speed"][span] > 0.03 * 900.0)
    assert channels["speed"][span.stop] <= 0.03 * 900.0
    assert np.all(on == 0.0)
    assert len(findings) == 2
    assert tells(findings, 0.0, 1.49)
    assert tells(findings, float(TIME[span.stop]), 7.99)
    assert "150 samples before the coasting begins" in findings[0].message


def test_coasting_without_a_current_channel_begins_at_the_top() -> None:
    channels = {"speed": np.concatenate((np.linspace(0.0, 890.0, 100), coasting()["speed"][150:]))}
    time = np.arange(channels["speed"].size) * np.float64(0.01)
    span, _, findings = driven_span(run_of("coast-down"), FREEWHEEL, time, channels)
    assert span.start == 99
    assert tells(findings, 0.0, 0.98)


def test_supply_off_is_left_out_and_said_so() -> None:
    current = np.full(TIME.size, 3.0)
    current[:100] = 0.0
    current[700:] = 0.0
    channels = {"current": current, "voltage": np.full(TIME.size, 12.0), "speed": np.full(TIME.size, 900.0)}
    span, _, findings = driven_span(run_of("spin-up"), DRIVEN, TIME, channels)
    assert (span.start, span.stop) == (100, 700)
    assert len(findings) == 2
    assert tells(findings, 0.0, 0.99)
    assert tells(findings, 7.0, 7.99)
    assert all("supply switching" in f.message and "Cut the log" in f.remedy for f in findings)


def test_the_longest_of_several_stretches_counts() -> None:
    current = np.where((TIME < 1.0) | ((TIME > 2.0) & (TIME < 6.0)), 3.0, 0.0)
    span, on, _ = driven_span(run_of("no-load"), DRIVEN, TIME, {"current": current})
    assert np.all(current[span] > 0.0)
    assert span.stop - span.start == np.count_nonzero((TIME > 2.0) & (TIME < 6.0))
    assert np.all(on[span] == 1.0)


@pytest.mark.parametrize("reading", [0.0, np.nan])
def test_single_dropouts_do_not_end_a_stretch(reading: float) -> None:
    current = np.full(TIME.size, 3.0)
    current[[100, 300, 302, 500]] = reading
    span, _, findings = driven_span(run_of("no-load"), DRIVEN, TIME, {"current": current})
    assert (span.start, span.stop) == (0, TIME.size)
    assert findings == ()


@pytest.mark.parametrize("extra", [{"throttle": np.full(TIME.size, 0.5), "current": np.zeros(TIME.size)}, {}])
def test_all_of_a_run_counts_when_the_throttle_is_logged_or_nothing_tells(extra: dict[str, Array]) -> None:
    span, on, findings = driven_span(
        run_of("ramp"), DRIVEN, TIME, {"speed": np.full(TIME.size, 900.0)} | extra
    )
    assert (span.start, span.stop) == (0, TIME.size)
    assert np.all(on == 1.0)
    assert findings == ()


def test_a_motor_that_is_being_caught_is_left_out() -> None:
    """Now and then in the first second the current falls, not to zero, and half way at the edges of that."""
    current = 20.0 - 1.5 * TIME + 0.1 * np.sin(40.0 * TIME)
    current[[20, 21, 45]] = 0.4
    current[[22, 60]] *= 0.6
    span, _, findings = driven_span(run_of("spin-up"), DRIVEN, TIME, {"current": current})
    assert (span.start, span.stop) == (61, TIME.size)
    assert tells(findings, 0.0, 0.60)


def test_noise_of_a_small_current_is_no_dropout() -> None:
    rng = np.random.default_rng(3)
    current = np.maximum(20.0 * np.exp(-TIME / 0.05), 0.6) + 0.15 * rng.standard_normal(TIME.size)
    span, _, _ = driven_span(run_of("no-load"), DRIVEN, TIME, {"current": np.maximum(current, 0.25)})
    assert (span.start, span.stop) == (0, TIME.size)
