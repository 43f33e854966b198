"""The DC equivalent of a commutated brushless machine.

    V_m = R I_m + K_e ω      Q = K_t/(1 + (I_m/I_s)²) (I_m - I_0(ω))      I_0(ω) = i_0 + i_1 ω + i_2 ω²

The equivalent circuit is the textbook one of the permanent-magnet machine under block commutation: J. R.
Hendershot, T. J. E. Miller, Design of Brushless Permanent-Magnet Machines, 2010; the no-load current
as a current that carries the loss torque is the trade's own. The soft saturation is a one-parameter form
chosen here: K_t has halved at I_s. Copper: resistance rises by 0.393 %/K (IEC 60028, annealed copper, 20 °C).
"""

from __future__ import annotations

import math

import numpy as np

from motorfit.physics.values import Value

COPPER_COEFFICIENT = 0.00393
"""Relative rise of the winding's resistance per kelvin [1/K]."""

MAGNET_COEFFICIENT = 0.0011
"""Relative fall of K_e and K_t per kelvin of magnet temperature [1/K], of NdFeB grades; ± 0.0001."""

REFERENCE_TEMPERATURE_C = 25.0
"""Temperature [°C] at which resistance and constants are stated."""


def back_emf_constant(kv: Value) -> Value:
    """K_e [V s/rad] of a speed constant K_v [rpm/V]: K_e = 60/(2π K_v)."""
    return 60.0 / (2.0 * math.pi * kv)


def torque_constant(kv: Value, kt_kv_ratio: Value = 1.0) -> Value:
    """K_t [N m/A] of K_v [rpm/V] and ψ = K_t K_v 2π/60 [1]; ψ = 1: no back-EMF power is lost."""
    return kt_kv_ratio * 60.0 / (2.0 * math.pi * kv)


def drag_current(omega: Value, i_0: Value, i_1: Value = 0.0, i_2: Value = 0.0) -> Value:
    """No-load current I_0(ω) [A] at a speed ω [rad/s], not negative.

    Friction and hysteresis i_0 [A], eddies i_1 [A s/rad], windage i_2 [A s²/rad²].
    """
    return i_0 + i_1 * omega + i_2 * omega * omega


def saturation_factor(current: Value, saturation_current: Value = math.inf) -> Value:
    """Torque constant left [1] at a motor current [A]: 1/(1 + (I/I_s)²); I_s [A] may be infinite."""
    ratio = current / saturation_current
    return 1.0 / (1.0 + ratio * ratio)


def shaft_torque(
    current: Value,
    omega: Value,
    k_t: Value,
    i_0: Value,
    i_1: Value = 0.0,
    i_2: Value = 0.0,
    saturation_current: Value = math.inf,
) -> Value:
    """Torque at the turning shaft [N m] of a motor current [A] at a speed [rad/s].

    ``k_t`` [N m/A], drag as in `drag_current`, I_s [A]. Meant for a shaft that turns: at rest friction holds
    the shaft and a negative value says only that it does not start.
    """
    return (
        k_t * saturation_factor(current, saturation_current) * (current - drag_current(omega, i_0, i_1, i_2))
    )


def terminal_voltage(current: Value, omega: Value, k_e: Value, resistance: Value) -> Value:
    """DC-equivalent voltage at the motor's terminals [V]: R I + K_e ω; [A], [rad/s], [V s/rad], [ohm]."""
    return resistance * current + k_e * omega


def no_load_speed(
    voltage: Value, k_e: Value, resistance: Value, i_0: Value, i_1: Value = 0.0, i_2: Value = 0.0
) -> Value:
    """Speed [rad/s] at which the unloaded motor settles at a terminal voltage [V].

    The positive root of R i_2 ω² + (K_e + R i_1) ω - (V - R i_0) = 0; zero where V does not start it.
    """
    drive = np.maximum(voltage - resistance * i_0, 0.0)
    slope = k_e + resistance * i_1
    speed: Value = 2.0 * drive / (slope + np.sqrt(slope * slope + 4.0 * resistance * i_2 * drive))
    return speed


def no_load_current(
    kv: Value,
    resistance: Value,
    i_0: Value,
    i_1: Value = 0.0,
    i_2: Value = 0.0,
    voltage: Value = 10.0,
) -> Value:
    """Current [A] of the unloaded motor at equilibrium, at ``voltage`` [V] across its terminals.

    ``kv`` [rpm/V], ``resistance`` [ohm], drag as in `drag_current`. The trade states it at 10 V.
    """
    omega = no_load_speed(voltage, back_emf_constant(kv), resistance, i_0, i_1, i_2)
    return np.minimum(drag_current(omega, i_0, i_1, i_2), voltage / resistance)


def resistance_at(resistance: Value, temperature_c: Value) -> Value:
    """Winding resistance [ohm] at a temperature [°C], from the one at 25 °C [ohm]."""
    return resistance * (1.0 + COPPER_COEFFICIENT * (temperature_c - REFERENCE_TEMPERATURE_C))


def resistance_from(resistance: Value, temperature_c: Value) -> Value:
    """Resistance at 25 °C [ohm] of one measured [ohm] at a temperature [°C]; undoes `resistance_at`."""
    return resistance / (1.0 + COPPER_COEFFICIENT * (temperature_c - REFERENCE_TEMPERATURE_C))


def magnet_factor(temperature_c: Value, coefficient: Value = MAGNET_COEFFICIENT) -> Value:
    """Factor [1] on K_e and K_t at a magnet temperature [°C]; ``coefficient`` is the loss [1/K]."""
    return 1.0 - coefficient * (temperature_c - REFERENCE_TEMPERATURE_C)


def copper_loss(current: Value, resistance: Value) -> Value:
    """Heat in the winding [W] of a current [A] in a resistance [ohm]."""
    return resistance * current * current


def iron_loss(omega: Value, k_t: Value, i_0: Value, i_1: Value = 0.0, i_2: Value = 0.0) -> Value:
    """Heat of friction, hysteresis, eddies and windage [W]: K_t I_0(ω) ω."""
    return k_t * drag_current(omega, i_0, i_1, i_2) * omega
