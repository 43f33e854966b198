"""Detectors: numbers that contradict each other or the physics of any motor or propeller."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from motorfit.bench.campaign import Campaign, Motor
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog
from motorfit.physics.air import air_density
from motorfit.units import RPM

_FAST = 0.8
_LABEL_DOUBT = 0.06
_USUAL_PAIRS = 7


def _at_top_speed(log: RunLog, *channels: str) -> dict[str, float] | None:
    """Medians of channels (SI) where speed is at least four fifths of its top; None where one is missing."""
    if any(c not in log.channels for c in ("speed", *channels)):
        return None
    speed = log.channels["speed"]
    known = np.all([np.isfinite(log.channels[c]) for c in ("speed", *channels)], axis=0)
    if not known.any() or np.max(speed[known]) <= 0:
        return None
    fast = known & (speed >= _FAST * np.max(speed[known]))
    return {c: float(np.median(log.channels[c][fast])) for c in ("speed", *channels)}


def efficiency(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Shaft power above electrical power: speed, torque, voltage or current is off by a ratio."""
    if log.run.kind == "coast-down" or log.run.propeller is None:
        return
    level = _at_top_speed(log, "torque", "voltage", "current")
    if level is None or level["current"] <= 0:
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
        )


def thrust_coefficient(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A thrust coefficient that no propeller has: speed, thrust or diameter is off by a ratio."""
    if log.run.propeller is None:
        return
    level = _at_top_speed(log, "thrust")
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
    )


def figure_of_merit(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """More thrust per shaft power than momentum theory allows."""
    if log.run.propeller is None:
        return
    level = _at_top_speed(log, "thrust", "torque")
    if level is None or level["thrust"] <= 0 or level["torque"] <= 0:
        return
    air = campaign.air_of(log.run)
    rho = float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct))
    area = math.pi / 4.0 * campaign.propeller(log.run.propeller).diameter_m ** 2
    merit = level["thrust"] ** 1.5 / math.sqrt(2.0 * rho * area) / (level["torque"] * level["speed"])
    if 0.2 <= merit <= 0.9:
        return
    yield Finding(
        log.run.id,
        None,
        "warning" if 0.1 <= merit < 1.0 else "error",
        "figure-of-merit",
        f"thrust and shaft power give a figure of merit of {merit:.2f}; propellers have 0.3 to 0.8",
        "Check the units of thrust and torque, the pole count behind the speed, the propeller's diameter.",
    )


def no_load_speed(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """Speed per volt against the label: off by a ratio of pole counts, it is the pole count.

    A label alone may be wrong, by a good tenth. So a deviation is an error only where it is beyond what
    labels do, or where torque and current at full throttle say too that speed is off; else a warning.
    """
    for motor in campaign.motors:
        if motor.label_kv is None:
            continue
        own = [log for log in logs if log.run.motor == motor.id]
        found = _measured_kv(own)
        if found is None:
            continue
        kv, log, unloaded = found
        ratio = kv / motor.label_kv
        if (ratio >= 0.88 or not unloaded) and ratio <= 1.12:
            continue
        yield _kv_finding(motor, log, ratio, _torque_ratio(own, kv))


def _measured_kv(logs: Sequence[RunLog]) -> tuple[float, RunLog, bool] | None:
    """Speed per volt [rpm/V] at full throttle, from an unloaded run where there is one; loaded it is less."""
    best: tuple[float, RunLog, bool] | None = None
    for log in logs:
        unloaded = log.run.kind == "no-load"
        if log.run.kind == "coast-down" or (best is not None and best[2] and not unloaded):
            continue
        throttle = log.channels.get("throttle")
        if throttle is None and log.run.kind not in ("no-load", "spin-up"):
            continue
        if throttle is not None and not np.nanmax(throttle) > 0.99:
            continue
        level = _at_top_speed(log, "voltage")
        if level is None or level["voltage"] <= 0:
            continue
        kv = level["speed"] / RPM / level["voltage"]
        if best is None or (unloaded and not best[2]) or kv > best[0]:
            best = (kv, log, unloaded)
    return best


def _torque_ratio(logs: Sequence[RunLog], kv: float) -> float | None:
    """K_t K_v of the logs, 1 for an ideal machine: off as speed is by a wrong pole count.

    From rows at full throttle, where bus and motor current are the same; the no-load current is taken off.
    """
    quiet = [g for g in logs if g.run.kind == "no-load" and (_at_top_speed(g, "current") is not None)]
    idle = max(0.0, (_at_top_speed(quiet[0], "current") or {})["current"]) if quiet else 0.0
    for log in logs:
        if log.run.propeller is None or any(c not in log.channels for c in ("throttle", "torque", "current")):
            continue
        full = log.channels["throttle"] > 0.99
        torque, current = log.channels["torque"][full], log.channels["current"][full]
        known = np.isfinite(torque) & np.isfinite(current)
        if known.any() and float(np.median(current[known])) > 2.0 * idle:
            return float(np.median(torque[known]) / (np.median(current[known]) - idle)) * kv * RPM
    return None


def _kv_finding(motor: Motor, log: RunLog, ratio: float, torque_ratio: float | None) -> Finding:
    pairs = motor.pole_pairs or _USUAL_PAIRS
    near = min((k / pairs for k in range(1, 4 * pairs)), key=lambda r: abs(math.log(ratio / r)))
    if abs(math.log(ratio / 0.5)) < _LABEL_DOUBT:
        near = 0.5
    text = (
        f"speed is {ratio:.2f} times what the label of {motor.id} ({motor.label_kv:g} rpm/V) "
        "gives at this voltage"
    )
    by_poles = abs(ratio / near - 1.0) < _LABEL_DOUBT
    agrees = torque_ratio is not None and (torque_ratio > 1.04 if ratio > 1 else torque_ratio < 0.88)
    beyond = ratio > 1.4 or ratio < 0.7
    severity = "error" if beyond or (by_poles and agrees) else "warning"
    remedy = "Count the motor's magnets: speed comes from pole pairs."
    if by_poles and near in (0.5, 2.0):
        remedy = "Check whether poles were taken for pole pairs, or the reverse."
    elif by_poles and motor.pole_pairs is not None:
        counted = round(motor.pole_pairs * near)
        remedy = (
            f"Count the motor's magnets: {counted} pole pairs instead of {motor.pole_pairs} would explain it."
        )
    if severity == "warning":
        remedy += " If they are right, the label is wrong, and the fit will say so."
    return Finding(
        log.run.id, "speed", "error" if severity == "error" else "warning", "pole-count", text, remedy
    )
