"""Detector: a controller that limits the motor's current, of which the campaign file says nothing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from motorfit.bench.bridge import bridged
from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog

__all__ = ["unstated_limit"]

_FEWEST = 20
_FROM, _TO = 0.1, 0.6
_STEADY_BUS = 0.1
_STRAIGHT = 0.97


def unstated_limit(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Electrical power that grows with the speed of a start: I² R + I K_t ω at a current that is held.

    Without a limit a start at full throttle draws most at its begin, where there is no back-EMF yet. A supply
    that gives way looks the same, but its voltage shows that.
    """
    run = log.run
    stated = run.current_limit_a or campaign.bench.controller.current_limit_a
    if run.kind != "spin-up" or stated is not None or log.time_s is None:
        return
    if any(c not in log.channels for c in ("speed", "voltage", "current")):
        return
    speed, voltage, current = (log.channels[c] for c in ("speed", "voltage", "current"))
    if any(np.isfinite(a).sum() < 2 * _FEWEST for a in (speed, voltage, current)):
        return
    speed = bridged(speed)
    top = int(np.argmax(speed))
    rises = np.arange(len(speed)) <= top
    part = np.flatnonzero(rises & (speed > _FROM * speed[top]) & (speed < _TO * speed[top]))
    if len(part) < _FEWEST:
        return
    volts, amperes = bridged(voltage)[part], bridged(current)[part]
    if np.ptp(volts) > _STEADY_BUS * float(np.median(volts)):
        return
    power, w = volts * amperes, speed[part]
    slope, offset = np.polyfit(w, power, 1)
    if slope <= 0.0 or np.corrcoef(w, power)[0, 1] < _STRAIGHT or slope * w[-1] < 0.5 * offset:
        return
    # K_t is the reciprocal of K_v, to some per cent
    limit = float(slope) * float(speed[top]) / float(np.median(bridged(voltage)[max(top - 20, 0) : top + 1]))
    yield Finding(
        run.id,
        "current",
        "warning",
        "unstated-limit",
        f"current grows with the speed of the start: the controller seems to hold about {limit:.2g} A",
        "State current_limit_a under [bench.controller], or in this run; without it a fit takes the held "
        "current for the motor's doing.",
        **between(log, int(part[0]), int(part[-1])),
    )
