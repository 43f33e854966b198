"""The step of `motorfit.physics.transient` for several draws at once."""

from __future__ import annotations

from motorfit.compiled import kernel
from motorfit.lanes import LANES, Lanes, Mask, any_of, lane, spread, square_root, where, with_lane
from motorfit.lanes_math import expm1, log1p_over
from motorfit.physics.transient import riccati_step

__all__ = ["riccati_lanes"]

_TINY = 1e-12
_SHORT = 0.03


@kernel
def riccati_lanes(omega: Lanes, a: Lanes, b: Lanes, c: Lanes, h: Lanes, asked: Mask) -> tuple[Lanes, Lanes]:
    """Advance dω/dt = a - b ω - c ω² by a step; see `motorfit.physics.transient.riccati_step`.

    Parameters
    ----------
    omega : speed at the start [rad/s]
    a, b, c : coefficients [rad/s²], [1/s], [1/rad]; b and c not negative
    h : length of the step [s]
    asked : lanes that matter; the others may hold anything

    Returns
    -------
    (speed at the end [rad/s], integral of the speed over the step [rad])
    """
    disc = b * b + 4.0 * a * c
    settles = disc > _TINY * (b * b) + 1e-300
    s = square_root(where(settles, disc, 1.0))
    both = 1.0 / (s * (b + s))
    equilibrium = 2.0 * a * (both * s)
    y0 = omega - equilibrium
    gone = -expm1(-s * h)
    pull = y0 * gone * (both * (b + s))
    cy = c * pull
    within = settles & (cy > -1.0)
    cy = where(within, cy, 0.0)
    end = equilibrium + y0 * (1.0 - gone) / (1.0 + cy)
    area = equilibrium * h + pull * log1p_over(cy)
    if any_of(asked & ~settles):
        slowed, way, exact = _slowing(omega, a, b, c, h, disc)
        exact = exact & ~settles
        end, area = where(exact, slowed, end), where(exact, way, area)
        within = within | exact
    odd = asked & ~within
    if any_of(odd):
        for j in range(LANES):
            if lane(odd, j):
                one, part = riccati_step(lane(omega, j), lane(a, j), lane(b, j), lane(c, j), lane(h, j))
                end, area = with_lane(end, j, one), with_lane(area, j, part)
    return end, area


@kernel
def _slowing(omega: Lanes, a: Lanes, b: Lanes, c: Lanes, h: Lanes, disc: Lanes) -> tuple[Lanes, Lanes, Mask]:
    """Deceleration with no rest point, over a short step: the tangent form by its series.

    With q² = -(b² + 4 a c)/4, T = tan(q h)/q and κ = b/2 + c ω₀ the speed is ω₀ + ω₀' T/(1 + κ T), and the
    integral is (ln cos(q h) + ln(1 + κ T) - b h/2)/c.  Returns also in which lanes the series is exact.
    """
    x2 = -0.25 * disc * h * h
    exact = (x2 < _SHORT) & (c > 0.0)
    t = 62.0 / 2835.0 + x2 * (1382.0 / 155925.0 + x2 * (21844.0 / 6081075.0 + x2 * (929569.0 / 638512875.0)))
    t = h * (1.0 + x2 * (1.0 / 3.0 + x2 * (2.0 / 15.0 + x2 * (17.0 / 315.0 + x2 * t))))
    log_cos = 17.0 / 2520.0 + x2 * (31.0 / 14175.0 + x2 * (691.0 / 935550.0 + x2 * (10922.0 / 42567525.0)))
    log_cos = -x2 * (0.5 + x2 * (1.0 / 12.0 + x2 * (1.0 / 45.0 + x2 * log_cos)))
    kappa = 0.5 * b + c * omega
    kt = kappa * t
    end = omega + (a - b * omega - c * omega * omega) * t / (1.0 + kt)
    area = (log_cos + kt * log1p_over(kt) - 0.5 * b * h) / where(exact, c, spread(1.0))
    return end, area, exact
