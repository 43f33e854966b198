"""Facts of a campaign that travel with each motor's posterior."""

from __future__ import annotations

import platform
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np

from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun
from motorfit.inference.graph import Graph
from motorfit.inference.priors import BELIEFS, VERSION
from motorfit.physics.air import air_density
from motorfit.units import RPM

__all__ = ["constant_facts", "provenance"]

_PACKAGES = ("motorfit", "numpy", "scipy", "lmfit", "emcee", "numba", "arviz-stats")


def constant_facts(graph: Graph, motor: str) -> dict[str, Any]:
    """What answers need beside the draws: air, masses, geometry, and the envelope that was tested (JSON
    values)."""
    campaign = graph.campaign
    own = campaign.motor(motor)
    air = campaign.air
    runs = [r for r in graph.runs if r.run.motor == motor]
    used = {r.run.propeller for r in runs if r.run.propeller is not None}
    facts: dict[str, Any] = {
        "motor": {
            "mass_g": own.mass_g, "pole_pairs": own.pole_pairs, "label_kv": own.label_kv, "unit": own.unit,
            "model": own.model,
        },
        "controller": {"current_limit_a": campaign.bench.controller.current_limit_a},
        "propellers": {
            p.id: {
                "diameter_m": p.diameter_m, "pitch_m": p.pitch_m, "blades": p.blades,
                "reference_rev_per_s": p.reference_rev_per_s, "mass_g": p.mass_g, "make": p.make,
            }
            for p in campaign.propellers
        },
        "runs": {r.run.id: {"kind": r.run.kind, "propeller": r.run.propeller, "mode": r.mode} for r in runs},
        "envelope": {
            "overall": _envelope(runs),
            "propellers": {p: _envelope([r for r in runs if r.run.propeller == p]) for p in sorted(used)},
        },
    }  # fmt: skip
    if air is not None:
        facts["air"] = {
            "temperature_c": air.temperature_c, "pressure_hpa": air.pressure_hpa,
            "humidity_pct": air.humidity_pct,
        }  # fmt: skip
        facts["air_density_kg_m3"] = float(air_density(air.temperature_c, air.pressure_hpa, air.humidity_pct))
    return facts


def _envelope(runs: list[BlockedRun]) -> dict[str, list[float] | None]:
    def span(channel: str, factor: float) -> list[float] | None:
        found = [r.mean[channel][np.isfinite(r.mean[channel])] for r in runs if channel in r.mean]
        values = np.concatenate(found) if found else np.zeros(0)
        return [float(values.min() * factor), float(values.max() * factor)] if values.size else None

    return {
        "speed_rpm": span("speed", 1.0 / RPM),
        "voltage_v": span("voltage", 1.0),
        "current_a": span("current", 1.0),
    }


def provenance(
    campaign: Campaign,
    logs: tuple[RunLog, ...],
    graph: Graph,
    findings: tuple[Finding, ...],
    seed: int,
    method: str,
) -> dict[str, Any]:
    """Where a fit comes from (JSON values)."""
    sums = {campaign.path.name: campaign.sha256}
    sums |= {str(log.run.file.name): log.sha256 for log in logs}
    return {
        "campaign": campaign.title,
        "bench": campaign.bench.name,
        "inputs_sha256": sums,
        "versions": {"python": platform.python_version(), **{p: v for p in _PACKAGES if (v := _version(p))}},
        "seed": seed,
        "method": method,
        "priors": {
            "version": VERSION,
            "beliefs": {
                name: {"center": b.center, "spread": b.spread, "log": b.log, "unit": b.unit, "why": b.why}
                for name, b in BELIEFS.items()
            },
            "overrides": {n: o.model_dump(exclude_none=True) for n, o in campaign.priors.items()},
            "sampled": {c.name: c.prior.label for c in graph.coordinates},
        },
        "findings": [
            {
                "run": f.run, "channel": f.channel, "severity": f.severity, "kind": f.kind,
                "message": f.message, "remedy": f.remedy, "start_s": f.start_s, "end_s": f.end_s,
            }
            for f in findings
        ],
        "created": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
    }  # fmt: skip


@cache
def _version(package: str) -> str | None:
    try:
        return version(package)
    except PackageNotFoundError:
        return None
