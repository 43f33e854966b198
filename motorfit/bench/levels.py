"""What a log reads where its motor turns fastest: the numbers that physics can check against each other."""

from __future__ import annotations

import math

import numpy as np

from motorfit.bench.campaign import Campaign
from motorfit.bench.logs import RunLog
from motorfit.physics.air import air_density

__all__ = ["at_top_speed", "ideal_power", "shaft_power"]

_FAST = 0.8


def at_top_speed(log: RunLog, *channels: str) -> dict[str, float] | None:
    """Medians of channels (SI) where speed is at least four fifths of its top; None where one is missing."""
    if any(c not in log.channels for c in ("speed", *channels)):
        return None
    speed = log.channels["speed"]
    known = np.all([np.isfinite(log.channels[c]) for c in ("speed", *channels)], axis=0)
    if not known.any() or np.max(speed[known]) <= 0:
        return None
    fast = known & (speed >= _FAST * np.max(speed[known]))
    return {c: float(np.median(log.channels[c][fast])) for c in ("speed", *channels)}


def ideal_power(campaign: Campaign, log: RunLog) -> float | None:
    """The least power the thrust at top speed can take by momentum theory [W]; None where it is not known."""
    level = at_top_speed(log, "thrust")
    if log.run.propeller is None or level is None or level["thrust"] <= 0:
        return None
    air = campaign.air_of(log.run)
    rho = float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct))
    area = math.pi / 4.0 * campaign.propeller(log.run.propeller).diameter_m ** 2
    return float(level["thrust"] ** 1.5 / math.sqrt(2.0 * rho * area))


def shaft_power(log: RunLog) -> float | None:
    """Torque times speed at top speed [W]; None where it is not known."""
    level = at_top_speed(log, "torque")
    if log.run.propeller is None or level is None or level["torque"] <= 0:
        return None
    return level["torque"] * level["speed"]
