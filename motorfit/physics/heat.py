"""Heating: a winding node in a body node (stator and bell) in the air.

    C_w dT_w/dt = P_w - (C_w/τ_w) (T_w - T_b)
    C_b dT_b/dt = P_b + (C_w/τ_w) (T_w - T_b) - (C_b/τ_b) (T_b - T_a)

The usual lumped network of a small machine (J. R. Hendershot, T. J. E. Miller, Design of
Brushless Permanent-Magnet Machines, 2010). For constant power over a step the solution is a 2×2 matrix
exponential, written out here.
"""

from __future__ import annotations

import math

import numpy as np

from motorfit.physics.values import Value


def heat_step(
    winding_c: Value,
    body_c: Value,
    air_c: Value,
    winding_power: Value,
    body_power: Value,
    winding_capacity: Value,
    winding_time_constant: Value,
    body_capacity: Value,
    body_time_constant: Value,
    step: Value,
) -> tuple[Value, Value]:
    """Temperatures of winding and body [°C] after a step [s] of constant power; exact for any step.

    Parameters
    ----------
    winding_c, body_c, air_c : temperatures at the start [°C]
    winding_power, body_power : heat into each node [W]
    winding_capacity, body_capacity : C_w, C_b [J/K]
    winding_time_constant : τ_w, winding to body [s];  body_time_constant : τ_b, body to air [s]
    """
    end_w, end_b = settled(
        air_c,
        winding_power,
        body_power,
        winding_capacity,
        winding_time_constant,
        body_capacity,
        body_time_constant,
    )
    a11 = -1.0 / winding_time_constant
    a12 = 1.0 / winding_time_constant
    a21 = winding_capacity / (winding_time_constant * body_capacity)
    a22 = -a21 - 1.0 / body_time_constant
    mean = 0.5 * (a11 + a22)
    half = 0.5 * (a11 - a22)
    q = np.sqrt(half * half + a12 * a21)  # both eigenvalues, mean ± q, are real and negative
    slow = np.exp((mean + q) * step)
    c = 0.5 * slow * (1.0 + np.exp(-2.0 * q * step))
    s = -0.5 * slow * np.expm1(-2.0 * q * step) / q
    dw, db = winding_c - end_w, body_c - end_b
    new_w = end_w + (c + s * half) * dw + s * a12 * db
    new_b = end_b + s * a21 * dw + (c - s * half) * db
    return new_w, new_b


def settled(
    air_c: Value,
    winding_power: Value,
    body_power: Value,
    winding_capacity: Value,
    winding_time_constant: Value,
    body_capacity: Value,
    body_time_constant: Value,
) -> tuple[Value, Value]:
    """Temperatures [°C] of winding and body at rest under constant power [W]; units as in `heat_step`."""
    body = air_c + (winding_power + body_power) * body_time_constant / body_capacity
    return body + winding_power * winding_time_constant / winding_capacity, body


def time_to_temperature(start_c: float, settled_c: float, limit_c: float, time_constant: float) -> float:
    """Time [s] until a node on its way to ``settled_c`` [°C], time constant [s], passes ``limit_c`` [°C].

    Infinite where it never does; 0 where it already has.
    """
    if start_c >= limit_c:
        return 0.0
    if settled_c <= limit_c:
        return math.inf
    return time_constant * math.log((settled_c - start_c) / (settled_c - limit_c))
