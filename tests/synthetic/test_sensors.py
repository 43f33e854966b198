"""Sensor errors do what they are named for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from motorfit.synthetic import integrate as bench
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.sensors import RPM, delayed, markov_noise, read_channels
from motorfit.synthetic.stand import CHANNELS, draw_stand

N = 4000
INTERVAL = 0.002


def signals(n: int = N) -> np.ndarray:
    out = np.zeros((bench.N_SIGNALS, n))
    out[bench.V_BUS], out[bench.I_BUS], out[bench.SPEED] = 20.0, 15.0, 1000.0
    out[bench.T, n // 2 :], out[bench.Q] = 8.0, 0.1
    out[bench.TURNS] = np.arange(n) * INTERVAL * 1000.0 / (2.0 * math.pi)
    return out


def test_markov_noise_has_its_size_and_memory(rng: np.random.Generator) -> None:
    x = markov_noise(rng, 200_000, 2.0, 0.02, 0.002)
    assert x.std() == pytest.approx(2.0, rel=0.03)
    assert np.corrcoef(x[:-10], x[10:])[0, 1] == pytest.approx(math.exp(-1.0), abs=0.02)
    assert not markov_noise(rng, 10, 0.0, 0.02, 0.002).any()


def test_delay_moves_a_step(rng: np.random.Generator) -> None:
    step = np.repeat([0.0, 1.0], 50)
    late = delayed(step, 0.0205, 0.002)
    assert np.interp(0.5, late, np.arange(100)) == pytest.approx(49.5 + 10.25, abs=0.3)
    assert late[0] == 0.0
    assert delayed(step, 0.0, 0.002) is step


def test_gain_and_offset_are_those_of_the_truth(rng: np.random.Generator) -> None:
    options = BenchOptions(speed_quantum_rpm=0.0)
    stand = draw_stand(rng, options)
    got = read_channels(rng, signals(), INTERVAL, CHANNELS, stand, options, 3)
    for channel, true in (("voltage", 20.0), ("current", 15.0), ("torque", 0.1), ("speed", 1000.0)):
        expected = stand.parameters[f"gain_{channel}"] * true + stand.parameters[f"offset_{channel}"]
        sensor = stand.sensors[channel]
        doubt = 5.0 * (
            sensor.white / math.sqrt(N) + sensor.slow * math.sqrt(2 * sensor.slow_time / INTERVAL / N)
        )
        reading = got[channel].mean() / (RPM if channel == "speed" else 1.0)
        assert reading == pytest.approx(expected, abs=doubt)


def test_exact_sensors_read_the_truth(rng: np.random.Generator) -> None:
    options = BenchOptions(calibrated=True, noise=0.0, speed_quantum_rpm=0.0)
    got = read_channels(rng, signals(), INTERVAL, CHANNELS, draw_stand(rng, options), options, 3)
    np.testing.assert_array_equal(got["voltage"], 20.0)
    np.testing.assert_allclose(got["speed"], 1000.0 * RPM)
    np.testing.assert_array_equal(got["thrust"], signals()[bench.T])


def test_slow_load_cell_quantised_speed_drift_and_tones(rng: np.random.Generator) -> None:
    exact = BenchOptions(calibrated=True, noise=0.0, speed_quantum_rpm=0.0)
    slow = BenchOptions(calibrated=True, noise=0.0, load_cell_lag_s=0.05, speed_quantum_rpm=50.0)
    got = read_channels(rng, signals(), INTERVAL, CHANNELS, draw_stand(rng, slow), slow, 3)
    assert got["thrust"][N // 2 + 24] == pytest.approx(8.0 * -math.expm1(-1.0), rel=1e-3)
    np.testing.assert_array_equal(got["speed"], 9550.0)

    drifting = BenchOptions(calibrated=True, noise=0.0, drift_n_per_min=5.0)
    got = read_channels(rng, signals(), INTERVAL, CHANNELS, draw_stand(rng, drifting), drifting, 3)
    assert np.allclose(np.diff(got["thrust"][: N // 2], 2), 0.0)
    assert got["thrust"][N // 2 - 1] != 0.0

    shaking = BenchOptions(calibrated=True, noise=0.0, tones=0.1)
    got = read_channels(rng, signals(), INTERVAL, CHANNELS, draw_stand(rng, shaking), shaking, 3)
    assert 0.5 < np.ptp(got["thrust"][N // 2 :]) / 8.0 / 0.1 < 3.1
    plain = read_channels(rng, signals(), INTERVAL, CHANNELS, draw_stand(rng, exact), exact, 3)
    assert np.ptp(plain["thrust"][N // 2 :]) == 0.0


def test_a_shaft_at_rest_reads_zero_speed(rng: np.random.Generator) -> None:
    options = BenchOptions()
    got = read_channels(
        rng, np.zeros((bench.N_SIGNALS, 100)), INTERVAL, CHANNELS, draw_stand(rng, options), options, 0
    )
    np.testing.assert_array_equal(got["speed"], 0.0)
