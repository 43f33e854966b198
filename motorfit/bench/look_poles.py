"""Detectors: a speed that is not the shaft's, for a whole motor or in one run."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from motorfit.bench.campaign import Campaign, Motor
from motorfit.bench.findings import Finding
from motorfit.bench.levels import at_top_speed, ideal_power, shaft_power
from motorfit.bench.locate import between
from motorfit.bench.logs import RunLog
from motorfit.bench.polecount import Evidence, Reading, odds
from motorfit.physics.air import air_density
from motorfit.units import RPM

__all__ = ["pole_count", "speeds_contradict"]

_SURE = 0.1
_DOUBTFUL = 0.95
_PARTED = {"thrust": 1.18, "torque": 1.28}
"""Ratio of coefficients of one propeller in two runs that no change of speed or air explains; torque also
holds what speeding up takes."""


def pole_count(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """Posterior odds over pole counts for each motor, from label, torque, thrust and power together.

    Below a probability of 10 % for a right speed it is an error, below 95 % a warning. A label off by more
    than labels ever are is an error even where no count explains it.
    """
    for motor in campaign.motors:
        own = [log for log in logs if log.run.motor == motor.id]
        found = _measured_kv(own)
        if found is None:
            continue
        kv, log, unloaded = found
        evidence = _evidence(campaign, motor, own, kv, unloaded)
        ratio = None if motor.label_kv is None else kv / motor.label_kv
        if ratio is not None and not 0.03 < ratio < 30.0:
            continue  # a slip of units, told elsewhere
        readings = odds(evidence, motor.pole_pairs, _gearing(campaign, own))
        right = next(r.probability for r in readings if r.ratio == 1.0)
        beyond = ratio is not None and (ratio > 1.4 or (unloaded and ratio < 0.7))
        # without a label only what clearly speaks against the speed counts, not the doubt there was before
        before = next(r.probability for r in odds([], motor.pole_pairs) if r.ratio == 1.0)
        if right < (_DOUBTFUL if ratio is not None else 0.5 * before) or beyond:
            yield _finding(motor, log, ratio, readings, right, beyond, [e.name for e in evidence])


def _finding(
    motor: Motor,
    log: RunLog,
    ratio: float | None,
    readings: Sequence[Reading],
    right: float,
    beyond: bool,
    names: Sequence[str],
) -> Finding:
    other = next(r for r in readings if r.ratio != 1.0)
    said = f"the speed of {motor.id} does not go with its other readings"
    if ratio is not None:
        said = (
            f"speed is {ratio:.2f} times what the label of {motor.id} ({motor.label_kv:g} rpm/V) "
            "gives at this voltage"
        )
    if right < _DOUBTFUL:
        said += (
            f"; by {', '.join(names)} the odds are {_odds(other.probability / max(right, 1e-9))} "
            f"for another reading of it than the right one: {other.words}"
        )
    error = right < _SURE or beyond
    if right >= _DOUBTFUL:
        remedy = "No pole count explains it: check the label, the unit of voltage and of speed."
    elif other.ratio in (0.5, 2.0):
        remedy = "Check whether poles were taken for pole pairs, or the reverse."
    else:
        remedy = f"Count the motor's magnets: {other.words} would explain it."
        if "speed" in other.words:
            remedy = f"Check which speed is logged: {other.words}?"
    if not error and motor.label_kv is not None:
        remedy += " If it is right, the label is wrong, and the fit will say so."
    return Finding(
        log.run.id,
        "speed",
        "error" if error else "warning",
        "pole-count",
        said,
        remedy,
        **between(log, 0, len(log.channels["speed"]) - 1),
    )


def _odds(ratio: float) -> str:
    if ratio >= 1.0:
        return f"{ratio:.0f} to 1" if ratio < 1e4 else "above 10000 to 1"
    return f"1 to {1.0 / ratio:.0f}"


def _evidence(
    campaign: Campaign, motor: Motor, own: Sequence[RunLog], kv: float, unloaded: bool
) -> list[Evidence]:
    found = []
    # with a load the motor turns slower than its label says, by as much as half
    slack = 0.0 if unloaded else 0.7
    if motor.label_kv is not None:
        off = math.log(kv / motor.label_kv)
        found.append(Evidence("its label", off, 1.0, 0.05, 0.2, slack=slack))
    psi = _torque_ratio(own, kv)
    if psi is not None and psi > 0:
        found.append(Evidence("torque per ampere", math.log(psi / 0.95), 1.0, 0.05, 0.1, True, slack))
    for log in own:
        if log.run.propeller is None or log.run.kind == "coast-down":
            continue
        level = at_top_speed(log, "thrust")
        if level is not None and level["thrust"] > 0:
            c_t = _coefficient(campaign, log, "thrust") or 1.0
            found.append(Evidence("thrust", math.log(c_t / 0.12), -2.0, 0.4, 0.1))
        shaft, ideal = shaft_power(log), ideal_power(campaign, log)
        if shaft is not None and ideal is not None:
            found.append(Evidence("power", math.log(ideal / shaft / 0.6), -1.0, 0.25, 0.1))
        break  # one run of each kind of evidence: runs with the same propeller say the same once more
    return found


def _gearing(campaign: Campaign, own: Sequence[RunLog]) -> float | None:
    for log in own:
        if log.run.flywheel is not None and log.run.speed_of == "motor":
            return campaign.flywheel(log.run.flywheel).motor_turns_per_turn
    return None


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
        if throttle is not None and not np.nanmax(throttle, initial=0.0) > 0.99:
            continue
        level = at_top_speed(log, "voltage")
        if level is None or level["voltage"] <= 0:
            continue
        kv = level["speed"] / RPM / level["voltage"]
        if best is None or (unloaded and not best[2]) or kv > best[0]:
            best = (kv, log, unloaded)
    return best


def _torque_ratio(logs: Sequence[RunLog], kv: float) -> float | None:
    """K_t K_v of the logs, 1 for an ideal machine: off as speed is by a wrong pole count.

    Motor current is bus current over throttle, but for some per cent of duty; the no-load current is taken
    off. Rows at half throttle are preferred: there the motor neither saturates nor heats much.
    """
    quiet = [g for g in logs if g.run.kind == "no-load" and (at_top_speed(g, "current") is not None)]
    idle = max(0.0, (at_top_speed(quiet[0], "current") or {})["current"]) if quiet else 0.0
    for log in logs:
        if log.run.propeller is None or any(c not in log.channels for c in ("throttle", "torque", "current")):
            continue
        throttle, torque = log.channels["throttle"], log.channels["torque"]
        for low, high in ((0.4, 0.7), (0.99, 1.01)):
            rows = (throttle > low) & (throttle < high) & np.isfinite(torque)
            rows &= np.isfinite(log.channels["current"])
            if not rows.any():
                continue
            amperes = log.channels["current"][rows] / throttle[rows] - idle
            if float(np.median(amperes)) > max(idle, 0.5):
                return float(np.median(torque[rows]) / np.median(amperes)) * kv * RPM
    return None


def _coefficient(campaign: Campaign, log: RunLog, channel: str) -> float | None:
    """C_T or C_Q of the run's propeller at its top speed [1]; None where a channel is missing."""
    level = at_top_speed(log, channel)
    if log.run.propeller is None or level is None or level[channel] <= 0:
        return None
    air = campaign.air_of(log.run)
    rho = float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct))
    power = 4 if channel == "thrust" else 5
    diameter = campaign.propeller(log.run.propeller).diameter_m
    return float(level[channel] / (rho * (level["speed"] / (2.0 * math.pi)) ** 2 * diameter**power))


def speeds_contradict(campaign: Campaign, logs: Sequence[RunLog]) -> Iterator[Finding]:
    """Runs of one propeller whose thrust, or torque, at one speed differs by more than a propeller's can."""
    for propeller in campaign.propellers:
        runs = [g for g in logs if g.run.propeller == propeller.id and g.run.kind != "coast-down"]
        for channel, most in _PARTED.items():
            values = {g.run.id: c for g in runs if (c := _coefficient(campaign, g, channel)) is not None}
            if len(values) < 2:
                continue
            by_id = {g.run.id: g for g in runs}
            for run, value in values.items():
                rest = float(np.median([v for r, v in values.items() if r != run]))
                apart = max(value / rest, rest / value)
                if apart < most or (len(values) == 2 and run == next(iter(values))):
                    continue
                ratio = math.sqrt(rest / value)
                log = by_id[run]
                others = ", ".join(r for r in values if r != run)
                yield Finding(
                    run,
                    "speed" if channel == "thrust" else channel,
                    "warning",
                    "speeds-contradict",
                    f"{channel} of {propeller.id} at one speed is {value / rest:.2f} times that of {others}; "
                    f"a speed off by {ratio:.3g} in one of them would do this",
                    f"Check the pole count, the unit of {channel} and the propeller of these runs.",
                    **between(log, 0, len(log.channels["speed"]) - 1),
                )
