"""What the controller does at a speed: the current limit, drive, braking, the braking limit.

They meet at known speeds, so that a step can be split exactly where one ends; one draw at a time.
"""

from __future__ import annotations

from motorfit.compiled import kernel

__all__ = ["current_in", "duty_of", "regime_of"]


@kernel
def duty_of(throttle: float, s: float, c: float, e: float) -> float:
    """Duty [1] of a throttle [1]: affine with curvature and skew, 1 at full throttle, clipped to 0..1.

    0 at no throttle, where a controller does not drive whatever its map.
    """
    x = throttle
    if x <= 0.0:
        return 0.0
    d = 1.0 - s * (1.0 - x) + c * x * (1.0 - x) + e * x * (1.0 - x) * (1.0 - 2.0 * x)
    return min(max(d, 0.0), 1.0)


@kernel
def current_in(
    regime: int, omega: float, u: float, ke: float, rt: float, limit: float, brake: float
) -> float:
    """Motor current [A] in a regime: 0 limited, 1 driving, 2 braking, 3 braking limited."""
    if regime == 0:
        return limit
    if regime == 3:
        return -limit
    ideal = (u - ke * omega) / rt
    return ideal if regime == 1 else brake * ideal


@kernel
def regime_of(omega: float, low: float, zero: float, high: float) -> int:
    """Regime at a speed [rad/s], as in `current_in`; `low`, `zero`, `high` are the speeds where they meet."""
    if omega < low:
        return 0
    if omega <= zero:
        return 1
    return 2 if omega <= high else 3
