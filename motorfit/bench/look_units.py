"""Detectors: numbers off by so much that only a unit can be wrong."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from motorfit.bench.bridge import bridged
from motorfit.bench.campaign import Campaign, Motor
from motorfit.bench.findings import Finding
from motorfit.bench.levels import at_top_speed, ideal_power, shaft_power
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog
from motorfit.physics.air import air_density

__all__ = ["current_or_voltage", "flywheel_energy", "no_load_current", "torque_coefficient"]

_SLIP = 20.0
"""A factor no motor, propeller or sensor explains."""

_LARGEST = {"voltage": 200.0, "current": 2000.0}
_SMALLEST_V = 0.5
_USUAL_SLIPS = {
    1000.0: "a thousandth taken for the whole unit (mA for A, mV for V), or the reverse",
    60.0: "a minute taken for a second",
    48.0: "a digital throttle or another raw count taken for a unit",
    9.80665: "kgf for N, or the reverse",
    100.0: "per cent or centimetres taken for the whole unit",
}


def _named(factor: float) -> str:
    """The usual slip next to a factor, for a remedy; nothing where none is near."""
    size = max(factor, 1.0 / factor)
    near = min(_USUAL_SLIPS, key=lambda f: abs(math.log(size / f)))
    return f": {_USUAL_SLIPS[near]}?" if abs(math.log(size / near)) < 0.7 else "."


def _slip(log: RunLog, channel: str, message: str, factor: float) -> Finding:
    return Finding(
        log.run.id,
        channel,
        "error",
        "unit-slip",
        message,
        f"Check the unit of {channel} in the header or in [runs.columns]{_named(factor)}",
        **between(log, 0, len(log.channels[channel]) - 1),
    )


def current_or_voltage(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """Electrical power out of all proportion to what the propeller takes, or a voltage no such stand has."""
    level = at_top_speed(log, "voltage") if log.run.kind != "coast-down" else None
    if level is not None and not _SMALLEST_V <= level["voltage"] <= _LARGEST["voltage"]:
        yield _slip(
            log,
            "voltage",
            f"{level['voltage']:.4g} V at top speed; stands for small motors have {_SMALLEST_V} to "
            f"{_LARGEST['voltage']:.0f} V",
            1000.0,
        )
        return
    level = at_top_speed(log, "current")
    if level is None or log.run.kind == "coast-down":
        return
    if level["current"] > _LARGEST["current"]:
        yield _slip(log, "current", f"{level['current']:.4g} A at top speed", 1000.0)
        return
    level = at_top_speed(log, "voltage", "current")
    if level is None or level["current"] <= 0:
        return
    electrical = level["voltage"] * level["current"]
    # what the propeller takes: by torque, or by thrust at a usual figure of merit; both where both agree
    ideal = ideal_power(campaign, log)
    takes = [p for p in (shaft_power(log), None if ideal is None else ideal / 0.6) if p is not None]
    if not takes or max(takes) > 4.0 * min(takes):
        return
    factor = electrical / (math.sqrt(math.prod(takes)) if len(takes) == 2 else takes[0])
    if factor > _SLIP or factor < 1.0 / _SLIP:
        yield _slip(
            log,
            "current",
            f"electrical power at top speed is {electrical:.3g} W and the propeller takes about "
            f"{takes[0]:.3g} W, a factor of {max(factor, 1.0 / factor):.3g}",
            factor,
        )


def flywheel_energy(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A flywheel that gains more energy than went in, or next to nothing of it."""
    run = log.run
    if run.kind != "spin-up" or run.flywheel is None or log.time_s is None:
        return
    if any(c not in log.channels for c in ("speed", "voltage", "current")):
        return
    speed = log.channels["speed"]
    if np.isfinite(speed).sum() < 10:
        return
    wheel = campaign.flywheel(run.flywheel)
    speed = bridged(speed)
    top = int(np.argmax(speed))
    power = bridged(log.channels["voltage"]) * bridged(log.channels["current"])
    spent = float(np.sum(0.5 * (power[1 : top + 1] + power[:top]) * np.diff(log.time_s[: top + 1])))
    turns = wheel.motor_turns_per_turn
    gained = 0.5 * wheel.inertia_kg_m2 * float(speed[top] ** 2 - speed[0] ** 2) / turns**2
    if gained <= 0.0 or spent <= 0.0:
        return
    if gained > _SLIP * spent or gained * 10.0 * _SLIP < spent:
        yield _slip(
            log,
            "current",
            f"the flywheel gains {gained:.3g} J while {spent:.3g} J go in",
            gained / spent,
        )
    elif gained > 1.05 * spent:
        yield Finding(
            run.id,
            None,
            "error",
            "power-out-above-power-in",
            f"the flywheel gains {gained / spent:.2f} times the energy that goes in",
            "Check the flywheel's inertia and gearing, whose speed is logged (speed_of), and the pole count.",
            **between(log, 0, top),
        )


def no_load_current(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """A bare motor that draws as much as a loaded one, or next to nothing."""
    for motor in campaign.motors:
        loaded = _loaded_current(motor, logs)
        for log in logs:
            level = at_top_speed(log, "current")
            if log.run.motor != motor.id or log.run.kind != "no-load" or level is None:
                continue
            current = level["current"]
            if current > (0.7 * loaded if loaded is not None else 100.0):
                beside = "" if loaded is None else f", and with a load it draws {loaded:.3g} A at most"
                yield _slip(log, "current", f"the bare motor draws {current:.4g} A{beside}", 1000.0)
            elif 0.0 <= current < 0.02:
                yield _slip(log, "current", f"the bare motor draws {current:.2g} A", 1000.0)


def _loaded_current(motor: Motor, logs: Sequence[RunLog]) -> float | None:
    most = [
        float(np.nanpercentile(log.channels["current"], 99))
        for log in logs
        if log.run.motor == motor.id
        and log.run.kind not in ("no-load", "coast-down")
        and "current" in log.channels
        and np.isfinite(log.channels["current"]).any()
    ]
    return max(most) if most and max(most) > 0 else None


def torque_coefficient(campaign: Campaign, log: RunLog) -> Iterator[Finding]:
    """A torque that no propeller takes at its speed: torque, speed or diameter is off by a ratio."""
    level = at_top_speed(log, "torque")
    if log.run.propeller is None or level is None or level["torque"] <= 0 or log.run.kind == "coast-down":
        return
    air = campaign.air_of(log.run)
    rho = float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct))
    turns = level["speed"] / (2.0 * math.pi)
    c_q = level["torque"] / (rho * turns**2 * campaign.propeller(log.run.propeller).diameter_m ** 5)
    if 0.003 <= c_q <= 0.05:
        return
    yield Finding(
        log.run.id,
        "torque",
        "warning" if 0.001 <= c_q <= 0.12 else "error",
        "torque-coefficient",
        f"torque, speed and diameter give a torque coefficient of {c_q:.3g}; propellers have 0.005 to 0.03",
        f"Check the unit of torque, the pole count behind the speed and the propeller's diameter"
        f"{_named(c_q / 0.012)}",
    )
