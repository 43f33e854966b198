"""Torque against speed: closed forms of the straight line, and agreement with the loaded motor."""

from __future__ import annotations

import math

import numpy as np
import pytest

from motorfit.physics.drive import Drive, Load
from motorfit.physics.motor import no_load_speed
from motorfit.physics.shaft import shaft_curve, shaft_points
from motorfit.physics.steady import operating_points

PLAIN = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.5)


def test_the_plain_machine_is_a_straight_line() -> None:
    p = shaft_points(1.0, 12.0, PLAIN)
    stall = 0.0072 * (12.0 / 0.06 - 0.5)
    top = no_load_speed(12.0, 0.0075, 0.06, 0.5)
    assert p.stall_torque[0] == pytest.approx(stall, rel=1e-12)
    assert p.stall_current[0] == pytest.approx(200.0)
    assert p.peak_torque[0] == pytest.approx(stall, rel=1e-12)
    assert p.no_load_speed[0] == pytest.approx(top)
    assert p.no_load_current[0] == pytest.approx(0.5)
    assert p.slope[0] == pytest.approx(-stall / float(top))
    assert p.peak_power[0] == pytest.approx(
        stall * float(top) / 4.0, rel=1e-9
    )  # half the torque, half the speed
    assert p.peak_power_speed[0] == pytest.approx(0.5 * float(top), rel=1e-9)
    # the classical peak of efficiency of a machine with constant drag: ψ (1 - √(I_0/I_stall))²
    assert p.peak_efficiency[0] == pytest.approx(
        0.0072 / 0.0075 * (1.0 - math.sqrt(0.5 / 200.0)) ** 2, rel=1e-4
    )


def test_the_curve_meets_the_loaded_motor() -> None:
    drive = Drive(
        k_e=np.array([0.0075, 0.0078]), k_t=0.0072, resistance=0.06, drag_static=0.4, drag_slope=2e-4,
        drag_windage=1e-8, controller_resistance=0.006, idle_current=0.1, source_resistance=0.02,
        saturation_current=120.0, current_limit=40.0, duty_curvature=0.04,
    )  # fmt: skip
    load = Load(thrust_coefficient=0.12, torque_coefficient=0.011, diameter=0.2, density=1.2)
    volts = np.array([16.0, 15.0])
    for throttle in (0.5, 1.0):
        o = operating_points(throttle, volts[:, np.newaxis], drive, load)
        c = shaft_curve(o.speed, throttle, volts, drive)
        assert c.torque == pytest.approx(o.torque, rel=1e-6)
        assert c.motor_current == pytest.approx(o.motor_current, rel=1e-6)
        assert c.bus_current == pytest.approx(o.bus_current, rel=1e-6)
        assert c.bus_voltage == pytest.approx(o.bus_voltage, rel=1e-6)


def test_the_limit_cuts_the_torque_off() -> None:
    limited = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.5, current_limit=30.0)
    p = shaft_points(1.0, 12.0, limited)
    assert p.peak_torque[0] == pytest.approx(0.0072 * 29.5)
    assert p.stall_current[0] == pytest.approx(30.0)
    assert p.slope[0] == pytest.approx(-0.0072 * 0.0075 / 0.06)


def test_saturation_moves_the_peak_away_from_stall() -> None:
    soft = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, saturation_current=80.0)
    p = shaft_points(1.0, 12.0, soft)
    assert p.stall_current[0] == pytest.approx(200.0)
    assert p.peak_torque[0] == pytest.approx(0.0072 * 40.0, rel=1e-3)  # K_t I/(1+(I/I_s)²) is greatest at I_s
    assert p.stall_torque[0] < 0.8 * p.peak_torque[0]


def test_above_the_no_load_speed_it_would_be_driven() -> None:
    c = shaft_curve([100.0, 1e5], 1.0, 12.0, PLAIN)
    assert np.isfinite(c.torque[0, 0])
    assert np.isnan([c.torque[0, 1], c.bus_current[0, 1]]).all()


def test_a_throttle_too_small_to_turn_gives_zeros() -> None:
    sticky = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=5.0)
    p = shaft_points(0.01, 12.0, sticky)
    assert (p.no_load_speed[0], p.peak_torque[0], p.peak_power[0]) == (0.0, 0.0, 0.0)
