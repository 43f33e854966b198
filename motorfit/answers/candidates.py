"""Runs that a bench could make next, and what they would log."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from motorfit.answers.leaving import supply_voltage
from motorfit.answers.posterior import FloatArray
from motorfit.bench.models import Campaign, Kind, Run
from motorfit.bench.noise import NoiseModel, typical_noise
from motorfit.bench.reduce import BlockedRun, reduce_run
from motorfit.bench.supply import Supply
from motorfit.inference.graph import MEASURED, build_graph
from motorfit.inference.positions import Positions, matched
from motorfit.inference.target import build_target
from motorfit.inference.unseen import typical_scales

_LOADED: tuple[Kind, ...] = ("ramp", "steps", "hold")
_STEP_LEVELS = (0.12, 0.5, 0.2, 0.65, 0.3, 0.55, 0.12, 0.7, 0.4)
_RATE_HZ = 200.0
"""Of a bench that has logged tables only."""

_FASTEST_HZ = 500.0
"""What a log is simulated at, at most: blocks hold as much of a faster one."""

_SAME = 0.08
_MOST_VOLTAGES = 3


@dataclass(frozen=True)
class Candidate:
    """A run that could be made: kind, what is on the shaft, supply [V]."""

    motor: str
    kind: Kind
    propeller: str | None
    flywheel: str | None
    voltage_v: float
    limit_a: float | None

    @property
    def text(self) -> str:
        """In words."""
        load = self.propeller or self.flywheel
        on = "" if load is None else f" with {load}"
        return f"{self.kind}{on} at {self.voltage_v:.3g} V"


def candidates(campaign: Campaign, runs: Sequence[BlockedRun], motor: str) -> tuple[Candidate, ...]:
    """Every kind of run with everything the campaign declares, at voltages it has used for that kind of load.

    Voltages and current limits are never above those already used with such a load.
    """
    out = []
    for kind, propeller, wheel in _kinds(campaign):
        alike = [r for r in runs if _load(r.run) == _class(propeller, wheel)]
        if not alike and propeller is None:
            alike = [r for r in runs if r.run.propeller is None]
        levels = _levels(alike or runs)
        if not alike:
            levels = levels[:1]
        limits = [r.run.current_limit_a for r in alike if r.run.current_limit_a is not None]
        # two sorts of load on one stand may have limits of their own; the lower one is always allowed
        limit = min(limits) if limits else None
        out += [Candidate(motor, kind, propeller, wheel, v, limit) for v in levels[-_MOST_VOLTAGES:]]
    return tuple(out)


def _kinds(campaign: Campaign) -> list[tuple[Kind, str | None, str | None]]:
    found: list[tuple[Kind, str | None, str | None]] = [("no-load", None, None), ("coast-down", None, None)]
    for wheel in campaign.flywheels:
        found += [("spin-up", None, wheel.id), ("coast-down", None, wheel.id)]
    for propeller in campaign.propellers:
        found += [(kind, propeller.id, None) for kind in _LOADED]
    return found


def _load(run: Run) -> str:
    return _class(run.propeller, run.flywheel)


def _class(propeller: str | None, wheel: str | None) -> str:
    return "propeller" if propeller is not None else "flywheel" if wheel is not None else "bare"


def _levels(runs: Sequence[BlockedRun]) -> list[float]:
    """Distinct supply voltages [V], lowest first."""
    found: list[float] = []
    for v in sorted(v for r in runs if (v := supply_voltage(r)) is not None):
        if not found or v > found[-1] * (1.0 + _SAME):
            found.append(v)
    return found or [10.0]


def throttle_of(kind: Kind, rate_hz: float) -> FloatArray:
    """Throttle of every sample of such a run [1]."""

    def hold(level: float, seconds: float) -> FloatArray:
        return np.full(round(seconds * rate_hz), level)

    if kind == "ramp":
        up = np.round(np.linspace(0.08, 1.0, round(9.0 * rate_hz)), 3)
        return np.concatenate([up, hold(1.0, 0.7), np.round(np.linspace(1.0, 0.3, round(1.8 * rate_hz)), 3)])
    if kind == "steps":
        return np.concatenate([hold(level, 0.65) for level in _STEP_LEVELS])
    if kind == "hold":
        return np.concatenate([hold(level, 2.0) for level in (0.3, 0.5, 0.7, 0.85)])
    return hold(1.0, 8.0 if kind == "coast-down" else 4.0)


def would_log(
    known: Positions,
    runs: Sequence[BlockedRun],
    candidate: Candidate,
    z: FloatArray,
    rng: np.random.Generator,
) -> BlockedRun:
    """A candidate's log, were the truth at a position, reduced to blocks as a real one would be.

    Parameters
    ----------
    known:
        Draws of the posterior, its noise learned.
    runs:
        The campaign's runs, for the noise and rate of its sensors and the stiffness of its supply.
    candidate:
        The run.
    z:
        (coordinates,) of `known`.
    rng:
        For the noise.
    """
    rate = min(_rate(runs), _FASTEST_HZ)
    throttle = throttle_of(candidate.kind, rate)
    n = throttle.size
    run = Run(
        id="candidate", motor=candidate.motor, kind=candidate.kind, file=Path("candidate"),
        propeller=candidate.propeller, flywheel=candidate.flywheel, current_limit_a=candidate.limit_a,
    )  # fmt: skip
    coasting = candidate.kind == "coast-down"
    stiffness = [r.supply.resistance_ohm for r in runs if r.supply.learned]
    source = float(np.median(stiffness)) if stiffness and not coasting else 0.0
    kv = float(known.target.values(z[None, :])[f"kv[{candidate.motor}]"][0])
    start = 0.97 * candidate.voltage_v * kv * math.pi / 30.0 if coasting else 0.0
    ideal = BlockedRun(
        run, "freewheel" if coasting else "driven", np.arange(n) / rate, np.full(n, 1.0 / rate), np.ones(n),
        throttle, Supply(np.full(n, candidate.voltage_v), source, True, np.zeros(n)),
        np.zeros(n) if coasting else np.ones(n), np.zeros(n), {}, {}, {}, {}, start,
        1e-3 if coasting else 0.0, (),
    )  # fmt: skip
    graph = build_graph(known.target.graph.campaign, (ideal,), known.late)
    here = matched(known.target.graph, z[None, :], graph, rng)
    for name, i in graph.index.items():
        if name.endswith("[candidate]"):
            here[:, i] = 0.0
    pure = build_target(graph).predict(here)[0]
    scales = typical_scales(known.target)
    channels: dict[str, FloatArray] = {}
    for name in _logged(runs, _load(run)):
        noise = _noise(runs, name)
        if name == "voltage":
            level = candidate.voltage_v - source * pure[:, MEASURED.index("current")]
            channels[name] = level + _draw(noise, 1.0, n, rate, rng)
        elif name in MEASURED:
            c = MEASURED.index(name)
            channels[name] = pure[:, c] + _draw(noise, float(scales[c]), n, rate, rng)
    if coasting:
        channels = {k: v for k, v in channels.items() if k in ("speed", "torque", "winding_temperature")}
    else:
        channels["throttle"] = throttle
    return reduce_run(run, np.arange(n) / rate, channels)


def _rate(runs: Sequence[BlockedRun]) -> float:
    """Sampling rate of a bench's logs [Hz]."""
    found = [float(np.median(r.samples / r.length_s)) for r in runs if np.isfinite(r.length_s).all()]
    return float(np.median(found)) if found else _RATE_HZ


def _logged(runs: Sequence[BlockedRun], load: str) -> list[str]:
    """Channels that the bench logs with such a load; with a new one, all but thrust."""
    alike = [r for r in runs if _load(r.run) == load]
    names = dict.fromkeys(name for r in (alike or runs) for name in r.mean)
    return [name for name in names if load == "propeller" or name != "thrust"] + (
        [] if "voltage" in names else ["voltage"]
    )


def _noise(runs: Sequence[BlockedRun], channel: str) -> NoiseModel:
    """Typical noise of a sensor; of one that has logged tables only, a thousandth of its largest reading."""
    found = [r.noise[channel] for r in runs if channel in r.noise]
    typical = typical_noise(found)
    if typical is not None or found:
        return typical or found[0]
    largest = [float(np.nanmax(np.abs(r.mean[channel]))) for r in runs if channel in r.mean]
    return NoiseModel(1e-3 * max(largest, default=1.0), 0.01, 0.0)


def _draw(noise: NoiseModel, scale: float, n: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Noise of a sensor, (n,) in its unit."""
    phi = math.exp(-1.0 / (rate_hz * noise.memory_s))
    kicks = noise.sd * math.sqrt(1.0 - phi * phi) * rng.standard_normal(n)
    kicks[0] = noise.sd * rng.standard_normal()
    slow = lfilter([1.0], [1.0, -phi], kicks)
    return np.asarray(scale * (slow + noise.white_sd * rng.standard_normal(n)))
