"""What the sensors make of the truth: gain, offset, lag, delay, drift, tones, correlated noise, quantisation.

reading(t) = gain · lag(true(t - delay)) + offset + drift + tones + noise
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from motorfit.compiled import kernel
from motorfit.synthetic import integrate as bench
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.stand import Stand

Array = NDArray[np.float64]

SIGNAL = {
    "voltage": bench.V_BUS,
    "current": bench.I_BUS,
    "speed": bench.SPEED,
    "thrust": bench.T,
    "torque": bench.Q,
    "motor_current": bench.I_MOTOR,
    "motor_voltage": bench.V_MOTOR,
    "winding_temperature": bench.T_W,
}
"""Row of the integrated signals by channel."""

RPM = 60.0 / (2.0 * math.pi)
"""rpm of one rad/s."""

CROSSTALK_M = 0.02
"""Arm [m] that makes torque and thrust alike for crosstalk."""

SLOWEST_RAD_S = 10.0
"""Speed [rad/s] below which a speed sensor reads zero: it times the poles, and none pass."""


def _with_crosstalk(channel: str, signals: Array, stand: Stand) -> Array:
    """What acts on a channel's sensor, (samples,): for a load cell with its share of what the other feels."""
    true: Array = signals[SIGNAL[channel]]
    of_torque, of_thrust = stand.crosstalk
    if channel == "thrust" and of_torque != 0.0:
        true = true + of_torque / CROSSTALK_M * signals[bench.Q]
    if channel == "torque" and of_thrust != 0.0:
        true = true + of_thrust * CROSSTALK_M * signals[bench.T]
    return true


@kernel
def smooth(x: Array, keep: float, start: float, drive: float) -> Array:
    """y_k = keep · y_{k-1} + drive · x_k from ``start``; (samples,), dimensionless factors."""
    y = np.empty_like(x)
    last = start
    for k in range(x.shape[0]):
        last = keep * last + drive * x[k]
        y[k] = last
    return y


def markov_noise(rng: np.random.Generator, n: int, sd: float, time_constant: float, interval: float) -> Array:
    """First-order Markov noise, (n,), of stationary ``sd``; time constant and sample interval in s."""
    if sd <= 0.0:
        return np.zeros(n)
    keep = math.exp(-interval / time_constant)
    start = float(rng.standard_normal()) * sd
    out: Array = smooth(rng.standard_normal(n), keep, start, sd * math.sqrt(1.0 - keep * keep))
    return out


def delayed(true: Array, delay: float, interval: float) -> Array:
    """The signal as it was ``delay`` [s] before each sample, (samples,); before the log, as at its start."""
    if delay <= 0.0:
        return true
    at = np.arange(true.size) - delay / interval
    seen: Array = np.interp(at, np.arange(true.size), true)
    return seen


def read_channels(
    rng: np.random.Generator,
    signals: Array,
    interval: float,
    channels: tuple[str, ...],
    stand: Stand,
    options: BenchOptions,
    blades: int,
) -> Mapping[str, Array]:
    """Readings of a run by channel, each (samples,), SI but speed, which is in rpm.

    ``signals`` (N_SIGNALS, samples) as `integrate` fills them; ``interval`` [s]; ``blades`` of the propeller,
    0 without one (then nothing drives a tone at the blades' rate).
    """
    n = signals.shape[1]
    # drift of the load cells' zero: a slope in time, the same cause for both
    slope = float(rng.normal(0.0, 1.0)) * options.drift_n_per_min / 60.0
    drift = slope * interval * np.arange(n)
    phase = 2.0 * math.pi * float(rng.uniform())
    angle = 2.0 * math.pi * signals[bench.TURNS]
    tone = np.sin(angle + phase) + (0.5 * np.sin(blades * angle + phase) if blades else 0.0)
    out: dict[str, Array] = {}
    for channel in channels:
        true = _with_crosstalk(channel, signals, stand)
        sensor = stand.sensors[channel]
        lag = stand.parameters[f"lag_{channel}"]
        seen = delayed(true, stand.parameters[f"delay_{channel}"], interval)
        if lag > 0.0:
            keep = math.exp(-interval / lag)
            seen = smooth(np.ascontiguousarray(seen), keep, float(seen[0]), 1.0 - keep)
        reading = stand.parameters[f"gain_{channel}"] * seen + stand.parameters[f"offset_{channel}"]
        reading = reading + options.noise * rng.normal(0.0, sensor.white, n)
        reading += markov_noise(rng, n, options.noise * sensor.slow, sensor.slow_time, interval)
        if channel in ("thrust", "torque"):
            reading += drift if channel == "thrust" else 0.02 * drift
            reading += options.tones * seen * tone
        if channel == "speed":
            reading = np.where(true < SLOWEST_RAD_S, 0.0, np.maximum(reading, 0.0)) * RPM
            if options.speed_quantum_rpm > 0.0:
                reading = np.round(reading / options.speed_quantum_rpm) * options.speed_quantum_rpm
        out[channel] = reading
    return out
