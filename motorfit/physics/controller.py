"""The speed controller and the supply, averaged over a commutation period.

    V_m = d V_b - R_c I_m        I_b = d I_m + I_q        V_b = E - R_s I_b        d = duty(throttle)

A controller is an averaged buck converter (R. W. Erickson, D. Maksimović, Fundamentals of Power Electronics,
the averaged switch): its input current is duty times output current, plus what it draws itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motorfit.physics.values import Value


def duty(throttle: Value, slope: Value = 1.0, curvature: Value = 0.0, cubic: Value = 0.0) -> Value:
    """Duty [1] of a throttle [1], 0 to 1.

    d = 1 - s (1-x) + c x (1-x) + e x (1-x) (1-2x), clipped to 0..1: full throttle is always full duty,
    and no throttle none, where a controller does not drive whatever its map.
    ``slope`` s, ``curvature`` c, ``cubic`` e are pure numbers.
    """
    x = throttle
    raw = 1.0 - slope * (1.0 - x) + curvature * x * (1.0 - x) + cubic * x * (1.0 - x) * (1.0 - 2.0 * x)
    driven: Value = np.where(np.asarray(x) > 0.0, np.minimum(np.maximum(raw, 0.0), 1.0), 0.0)
    return driven


def duty_is_monotone(slope: Value, curvature: Value = 0.0, cubic: Value = 0.0) -> NDArray[np.bool_]:
    """True where duty never falls as throttle rises over 0..1, before clipping.

    The derivative s + c (1-2x) + e (1 - 6x + 6x²) is tested at both ends and, where it lies inside, at its
    turning point x = 1/2 + c/(6e).
    """
    at_zero = slope + curvature + cubic
    at_one = slope - curvature + cubic
    safe = np.where(np.abs(cubic) > 1e-12, cubic, 1.0)
    x = np.where(np.abs(cubic) > 1e-12, 0.5 + curvature / (6.0 * safe), 0.0)
    x = np.clip(x, 0.0, 1.0)
    inside = slope + curvature * (1.0 - 2.0 * x) + cubic * (1.0 - 6.0 * x + 6.0 * x * x)
    return np.asarray((at_zero >= 0.0) & (at_one >= 0.0) & (inside >= 0.0))


def motor_voltage(
    duty_: Value, bus_voltage: Value, motor_current: Value, controller_resistance: Value
) -> Value:
    """Voltage at the motor [V]: duty times bus voltage [V] less the drop of the current [A] in R_c [ohm]."""
    return duty_ * bus_voltage - controller_resistance * motor_current


def bus_current(duty_: Value, motor_current: Value, idle_current: Value = 0.0) -> Value:
    """Current from the supply [A]: duty times motor current [A] plus the controller's own draw [A]."""
    return duty_ * motor_current + idle_current


def bus_voltage(open_circuit_voltage: Value, source_resistance: Value, current: Value) -> Value:
    """Voltage at the controller [V] of a source [V] behind a resistance [ohm] that gives a current [A]."""
    return open_circuit_voltage - source_resistance * current


def limited_duty(
    motor_current: Value,
    omega: Value,
    k_e: Value,
    resistance: Value,
    controller_resistance: Value,
    bus_voltage_: Value,
) -> Value:
    """Duty [1] that gives a motor current [A] at a speed [rad/s]: (K_e ω + (R + R_c) I)/V_b.

    While a controller limits, this takes the place of duty(throttle), with I = ± the limit; power balances.
    """
    return (k_e * omega + (resistance + controller_resistance) * motor_current) / bus_voltage_


def braking_current(ideal_current: Value, share: Value) -> Value:
    """Motor current [A]: the ideal one, times the braking share [1] where it is negative."""
    return np.where(np.asarray(ideal_current) < 0.0, share * ideal_current, ideal_current)
