"""Elementary functions of lanes: series after a reduction of the argument, exact to a few roundings.

The reductions are the usual ones (see N. Beebe, The Mathematical-Function Computation Handbook, Springer
2017, chapters 9 and 10); the library's own functions take one number at a time.
"""

from __future__ import annotations

import math

from motorfit.compiled import kernel
from motorfit.lanes import (
    Lanes,
    any_of,
    exponent_of,
    mantissa_of,
    nearest,
    power_of_two,
    size,
    where,
)

__all__ = ["expm1", "exponential", "log1p_over", "logarithm"]

_LN2 = math.log(2.0)
_FAR = 700.0  # e to it is still a number


@kernel
def _expm1_parts(x: Lanes) -> tuple[Lanes, Lanes]:
    """2ⁿ and p with eˣ = 2ⁿ (1 + p), |ln(1 + p)| <= ln(2)/2."""
    x = where(x > _FAR, _FAR, where(x < -_FAR, -_FAR, x))
    n = nearest(x * (1.0 / _LN2))
    r = x - n * _LN2
    p = 1.0 / 479001600.0 + r * (1.0 / 6227020800.0)
    p = 1.0 / 3628800.0 + r * (1.0 / 39916800.0 + r * p)
    p = 1.0 / 40320.0 + r * (1.0 / 362880.0 + r * p)
    p = 1.0 / 720.0 + r * (1.0 / 5040.0 + r * p)
    p = 1.0 / 24.0 + r * (1.0 / 120.0 + r * p)
    p = r * (1.0 + r * (0.5 + r * (1.0 / 6.0 + r * p)))
    return power_of_two(n), p


@kernel
def exponential(x: Lanes) -> Lanes:
    """eˣ, its argument cut to ±700."""
    scale, p = _expm1_parts(x)
    return scale + scale * p


@kernel
def expm1(x: Lanes) -> Lanes:
    """eˣ - 1, exact also near zero."""
    scale, p = _expm1_parts(x)
    return (scale - 1.0) + scale * p


@kernel
def logarithm(x: Lanes) -> Lanes:
    """ln x of positive, normal x."""
    m, n = mantissa_of(x), exponent_of(x)
    high = m > math.sqrt(2.0)
    m, n = where(high, 0.5 * m, m), where(high, n + 1.0, n)
    z = (m - 1.0) / (m + 1.0)
    w = z * z
    p = 1.0 / 15.0 + w * (1.0 / 17.0 + w * (1.0 / 19.0 + w * (1.0 / 21.0)))
    p = 1.0 / 7.0 + w * (1.0 / 9.0 + w * (1.0 / 11.0 + w * (1.0 / 13.0 + w * p)))
    p = 1.0 + w * (1.0 / 3.0 + w * (1.0 / 5.0 + w * p))
    return n * _LN2 + 2.0 * (z * p)


@kernel
def log1p_over(x: Lanes) -> Lanes:
    """ln(1 + x)/x for x > -1."""
    base = 1.0 / (2.0 + x)
    z = x * base
    w = z * z
    p = 1.0 / 7.0 + w * (1.0 / 9.0 + w * (1.0 / 11.0 + w * (1.0 / 13.0)))
    p = 1.0 + w * (1.0 / 3.0 + w * (1.0 / 5.0 + w * p))
    near = 2.0 * base * p
    far = size(x) > 0.1
    if any_of(far):
        x = where(far, x, 1.0)
        near = where(far, logarithm(1.0 + x) / x, near)
    return near
