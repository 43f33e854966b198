"""Exact transient step of a motor and its load: the Riccati equation and its closed-form solution.

With the inputs held over a step the shaft obeys

    dω/dt = a - b ω - c ω²                                            [rad/s²]

with a [rad/s²], b [1/s] >= 0, c [1/rad] >= 0 collecting voltage, back-EMF, drag and the propeller's torque,
each divided by the inertia.  With ω* the stable equilibrium and s = √(b² + 4 a c) the deviation y = ω - ω*
obeys y' = -s y - c y², a Bernoulli equation, so

    y(t) = s y₀ e^(-st) / (s + c y₀ (1 - e^(-st)))
    ∫₀ᵗ y dτ = ln(1 + c y₀ (1 - e^(-st)) / s) / c

Both are exact for any step, stable, and reduce to the exponential as c → 0 (see any text on ordinary
differential equations, e.g. W. T. Reid, Riccati Differential Equations, Academic Press 1972, ch. 1).
The functions are scalar and compiled; callers loop over draws, which keeps a draw's state in registers.
"""

from __future__ import annotations

import math

from motorfit.compiled import kernel

__all__ = ["riccati_step", "riccati_time_to"]

_TINY = 1e-12


@kernel
def riccati_step(omega: float, a: float, b: float, c: float, h: float) -> tuple[float, float]:
    """Advance dω/dt = a - b ω - c ω² by a step.

    Parameters
    ----------
    omega : speed at the start [rad/s]
    a, b, c : coefficients [rad/s²], [1/s], [1/rad]; b and c not negative
    h : length of the step [s]

    Returns
    -------
    (speed at the end [rad/s], integral of the speed over the step [rad])
    """
    disc = b * b + 4.0 * a * c
    if disc <= _TINY * (b * b) + 1e-300:
        return _no_equilibrium(omega, a, b, c, h)
    s = math.sqrt(disc)
    equilibrium = 2.0 * a / (b + s)
    y0 = omega - equilibrium
    gone = -math.expm1(-s * h)
    cy = c * y0 * gone / s
    if cy <= -1.0:  # below the unstable root: the solution would run away within the step
        return _small_steps(omega, a, b, c, h)
    y = y0 * (1.0 - gone) / (1.0 + cy)
    area = y0 * gone / s * _log1p_over(cy)
    return equilibrium + y, equilibrium * h + area


@kernel
def _log1p_over(x: float) -> float:
    """ln(1 + x)/x, by its series where that is exact to rounding and cheaper."""
    if abs(x) < 0.01:
        return 1.0 - x * (0.5 - x * (1.0 / 3.0 - x * (0.25 - x * (0.2 - x * (1.0 / 6.0 - x / 7.0)))))
    return math.log1p(x) / x


@kernel
def _no_equilibrium(omega: float, a: float, b: float, c: float, h: float) -> tuple[float, float]:
    """Deceleration with no rest point: the tangent form, or plain drift when b and c vanish."""
    if c * abs(omega) * h < 1e-9 and b * h < 1e-9:
        end = omega + (a - b * omega - c * omega * omega) * h
        return end, 0.5 * (omega + end) * h
    if c <= 0.0:
        return _small_steps(omega, a, b, c, h)
    centre = -0.5 * b / c
    q = math.sqrt(max(-(b * b + 4.0 * a * c), 1e-300)) / (2.0 * c)
    phase = math.atan((omega - centre) / q)
    end_phase = phase - c * q * h
    if end_phase < -1.5:  # far beyond rest: the caller clamps at zero speed
        return _small_steps(omega, a, b, c, h)
    end = centre + q * math.tan(end_phase)
    area = centre * h + math.log(math.cos(end_phase) / math.cos(phase)) / c
    return end, area


@kernel
def _small_steps(omega: float, a: float, b: float, c: float, h: float) -> tuple[float, float]:
    """Sixteen midpoint steps that stop at rest: only for states outside the closed form's range."""
    dt = h / 16.0
    area = 0.0
    for _ in range(16):
        mid = omega + 0.5 * dt * (a - b * omega - c * omega * omega)
        mid = max(mid, 0.0)
        new = max(omega + dt * (a - b * mid - c * mid * mid), 0.0)
        area += 0.5 * dt * (omega + new)
        omega = new
    return omega, area


@kernel
def riccati_time_to(omega: float, target: float, a: float, b: float, c: float) -> float:
    """Time until the speed passes a target [s]; infinite when it never does.

    Parameters: speed now [rad/s], speed sought [rad/s], coefficients as in `riccati_step`.
    """
    slope = a - b * omega - c * omega * omega
    if (target - omega) * slope <= 0.0:
        return math.inf
    disc = b * b + 4.0 * a * c
    if disc <= 1e-300:
        if c <= 0.0 or disc > -1e-300:
            return (target - omega) / slope
        centre = -0.5 * b / c
        q = math.sqrt(-disc) / (2.0 * c)
        return (math.atan((omega - centre) / q) - math.atan((target - centre) / q)) / (c * q)
    s = math.sqrt(disc)
    equilibrium = 2.0 * a / (b + s)
    y0, y1 = omega - equilibrium, target - equilibrium
    if y0 * y1 <= 0.0:
        return math.inf
    ratio = y0 * (s + c * y1) / (y1 * (s + c * y0))
    if ratio <= 1.0:
        return math.inf
    return math.log(ratio) / s
