"""The root of one draw's torque balance in a shrinking bracket, where plain Newton steps do not settle."""

from __future__ import annotations

import math

from motorfit.compiled import kernel

__all__ = ["balance"]


@kernel
def balance(
    kt: float, i0: float, i1: float, i2: float, sat: float, load: float, a_q: float, log_ref: float,
    drive: float, slope: float, top: float,
) -> float:  # fmt: skip
    """Root of F [rad/s] in (0, top], I = drive - slope ω: Newton steps kept inside a shrinking bracket."""
    a, b = kt * (drive - i0), kt * (slope + i1)
    root = b + math.sqrt(b * b + 4.0 * a * (kt * i2 + load))
    w = 2.0 * a / root if root > 0.0 else top
    low, high = 0.0, top
    w = min(max(w, 1e-6 * top), top)
    for _ in range(100):
        growth = math.exp(a_q * (math.log(max(w, 1e-6)) - log_ref)) if a_q != 0.0 else 1.0
        i = drive - slope * w
        load_slope = load * w * growth
        over = i - i0 - w * (i1 + w * i2)
        soft = kt / (1.0 + i * i * sat) if sat > 0.0 else kt
        f = soft * over - load_slope * w
        if f > 0.0:
            low = w
        else:
            high = w
        df = -soft * (slope + i1 + 2.0 * i2 * w) - (2.0 + a_q) * load_slope
        df += soft * soft / kt * 2.0 * i * sat * slope * over
        new = w - f / df if df < 0.0 else -1.0
        newton = low <= new <= high
        if not newton:
            new = 0.5 * (low + high)
        moved = new - w
        w = new
        if (newton and abs(moved) <= 2e-6 * w) or high - low <= 1e-13 * top:
            break
    return w
