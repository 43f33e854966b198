"""Detectors: numbers that contradict each other or the physics of any motor or propeller."""

from __future__ import annotations

import math
from collections.abc import Iterator

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.levels import at_top_speed, ideal_power
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog
from motorfit.physics.air import air_density


def efficiency(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Shaft power above electrical power: speed, torque, voltage or current is off by a ratio."""
    if log.run.kind == "coast-down" or log.run.propeller is None:
        return
    level = at_top_speed(log, "torque", "voltage", "current")
    if level is None or level["current"] <= 0 or level["voltage"] <= 0:
        return
    ratio = level["torque"] * level["speed"] / (level["voltage"] * level["current"])
    if ratio > 0.99:
        yield Finding(
            log.run.id,
            None,
            "error",
            "power-out-above-power-in",
            f"shaft power is {ratio:.2f} times the electrical power at top speed",
            "Check the pole count behind the speed, then the units of torque, voltage and current.",
            **between(log, 0, len(log.channels["speed"]) - 1),
        )


def thrust_coefficient(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A thrust coefficient that no propeller has: speed, thrust or diameter is off by a ratio."""
    if log.run.propeller is None:
        return
    level = at_top_speed(log, "thrust")
    if level is None or level["thrust"] <= 0:
        return
    air = campaign.air_of(log.run)
    rho = float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct))
    turns = level["speed"] / (2.0 * math.pi)
    propeller = campaign.propeller(log.run.propeller)
    c_t = level["thrust"] / (rho * turns**2 * propeller.diameter_m**4)
    if 0.045 <= c_t <= 0.3:
        return
    yield Finding(
        log.run.id,
        "thrust",
        "warning" if 0.02 <= c_t <= 0.5 else "error",
        "thrust-coefficient",
        f"thrust, speed and diameter give a thrust coefficient of {c_t:.3g}; propellers have 0.05 to 0.25",
        "Check the pole count behind the speed, the unit of thrust and the propeller's diameter.",
        **between(log, 0, len(log.channels["speed"]) - 1),
    )


def figure_of_merit(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """More thrust per shaft power than momentum theory allows."""
    if log.run.propeller is None:
        return
    level, ideal = at_top_speed(log, "thrust", "torque"), ideal_power(campaign, log)
    if level is None or ideal is None or level["torque"] <= 0:
        return
    merit = ideal / (level["torque"] * level["speed"])
    if 0.2 <= merit <= 0.9:
        return
    yield Finding(
        log.run.id,
        None,
        "warning" if 0.1 <= merit < 1.0 else "error",
        "figure-of-merit",
        f"thrust and shaft power give a figure of merit of {merit:.2f}; propellers have 0.3 to 0.8",
        "Check the units of thrust and torque, the pole count behind the speed, the propeller's diameter.",
        **between(log, 0, len(log.channels["speed"]) - 1),
    )
