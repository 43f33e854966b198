"""A propeller at rest in still air.

    T = C_T ρ n² D⁴ (n/n_ref)^a_T        Q = C_Q ρ n² D⁵ (n/n_ref)^a_Q        n = ω/2π [rev/s]

Coefficients follow the propeller convention (n in rev/s, diameter); e.g. B. W. McCormick, Aerodynamics,
Aeronautics and Flight Mechanics, 2nd ed. 1995, ch. 6. The exponents carry the growth of the Reynolds
number with speed.
"""

from __future__ import annotations

import math

import numpy as np

from motorfit.physics.air import speed_of_sound
from motorfit.physics.values import Value, require_between

REFERENCE_REV_PER_S = 250.0
"""Speed [rev/s] at which coefficients are stated unless a propeller declares its own."""

TIP_MACH_FLAG = 0.6
"""Tip Mach number [1] above which the coefficients no longer hold and an answer says so."""

UNIFORM_ROD = 1.0 / 3.0
"""Inertia over m (D/2)² [1] of a slender uniform rod; real propellers are near 0.18."""


def thrust(
    omega: Value,
    thrust_coefficient: Value,
    diameter: Value,
    density: Value,
    exponent: Value = 0.0,
    reference_rev_per_s: Value = REFERENCE_REV_PER_S,
) -> Value:
    """Static thrust [N] at a speed [rad/s]; C_T [1], D [m], ρ [kg/m³], a_T [1], n_ref [rev/s]."""
    n = omega / (2.0 * math.pi)
    return thrust_coefficient * density * n * n * diameter**4 * _growth(n, exponent, reference_rev_per_s)


def torque(
    omega: Value,
    torque_coefficient: Value,
    diameter: Value,
    density: Value,
    exponent: Value = 0.0,
    reference_rev_per_s: Value = REFERENCE_REV_PER_S,
) -> Value:
    """Torque it takes [N m] at a speed [rad/s]; C_Q [1], D [m], ρ [kg/m³], a_Q [1], n_ref [rev/s]."""
    n = omega / (2.0 * math.pi)
    return torque_coefficient * density * n * n * diameter**5 * _growth(n, exponent, reference_rev_per_s)


def _growth(n: Value, exponent: Value, reference: Value) -> Value:
    # n² (n/n_ref)^a tends to zero with n for every a > -2; the floor only keeps 0 to a negative power away
    growth: Value = np.maximum(n / reference, 1e-9) ** exponent
    return growth


def speed_for_thrust(
    thrust_n: Value,
    thrust_coefficient: Value,
    diameter: Value,
    density: Value,
    exponent: Value = 0.0,
    reference_rev_per_s: Value = REFERENCE_REV_PER_S,
) -> Value:
    """Speed [rad/s] that gives a thrust [N], not negative; the inverse of `thrust`."""
    at_reference = thrust_coefficient * density * reference_rev_per_s**2 * diameter**4
    ratio = (thrust_n / at_reference) ** (1.0 / (2.0 + exponent))
    return 2.0 * math.pi * reference_rev_per_s * ratio


def figure_of_merit(thrust_coefficient: Value, torque_coefficient: Value) -> Value:
    """Ideal over real power at rest [1]: √(2/π) C_T^1.5/C_P with C_P = 2π C_Q.

    Ideal power is that of momentum theory, T^1.5/√(2 ρ A) (J. G. Leishman, Principles of Helicopter
    Aerodynamics, 2nd ed. 2006, ch. 2), so the figure stays below 1.
    """
    return math.sqrt(2.0 / math.pi) * thrust_coefficient**1.5 / (2.0 * math.pi * torque_coefficient)


def torque_coefficient(thrust_coefficient: Value, figure_of_merit_: Value) -> Value:
    """C_Q [1] of a thrust coefficient [1] and a figure of merit [1]; undoes `figure_of_merit`."""
    return math.sqrt(2.0 / math.pi) * thrust_coefficient**1.5 / (2.0 * math.pi * figure_of_merit_)


def tip_mach(
    omega: Value,
    diameter: Value,
    temperature_c: Value = 15.0,
    pressure_hpa: Value = 1013.25,
    humidity_pct: Value = 0.0,
) -> Value:
    """Mach number of the blade tips [1] at a speed [rad/s], diameter [m], in air at [°C], [hPa], [%]."""
    return omega * diameter / 2.0 / speed_of_sound(temperature_c, pressure_hpa, humidity_pct)


def inertia(mass: Value, diameter: Value, shape: Value = 0.18) -> Value:
    """Moment of inertia [kg m²]: shape · m (D/2)², mass [kg], diameter [m]; a uniform rod has shape 1/3."""
    return shape * mass * (diameter / 2.0) ** 2


def ground_effect(diameter: Value, clearance: Value) -> Value:
    """Thrust over thrust in free air [1] at the same power, above a plane wall: 1/(1 - (R/4z)²).

    I. C. Cheeseman, W. E. Bennett, The Effect of the Ground on a Helicopter Rotor in Forward Flight,
    ARC R&M 3021, 1955. ``diameter`` [m], ``clearance`` z from propeller plane to wall [m], at least R/2:
    nearer than that the formula is not borne out.

    Raises
    ------
    PhysicsError : when the wall is nearer than half a radius
    """
    ratio = np.asarray(clearance, dtype=np.float64) / np.asarray(diameter, dtype=np.float64)
    require_between(
        "clearance over diameter", ratio, 0.25, math.inf, "(1)", "Mount the propeller farther from the plane."
    )
    x = diameter / (8.0 * clearance)
    return 1.0 / (1.0 - x * x)
