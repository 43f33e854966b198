"""What a fit of a campaign takes for granted, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog


def assumptions_of(
    campaign: Campaign, logs: Sequence[RunLog], findings: Sequence[Finding]
) -> tuple[str, ...]:
    """Everything assumed about a campaign that its file and logs do not state."""
    said = list(campaign.assumptions)
    for finding in findings:
        if finding.kind == "assumed-unit":
            said.append(f"{finding.run}, {finding.channel}: {finding.message}")
    for log in logs:
        if log.run.kind in ("no-load", "spin-up") and "throttle" not in log.channels:
            said.append(f"{log.run.id}: no throttle logged; full throttle assumed")
    controller = campaign.bench.controller
    if controller.resistance_ohm is None:
        said.append("bench.controller.resistance_ohm is not given: the wide prior of the table is used")
    if controller.current_limit_a is None and all(r.current_limit_a is None for r in campaign.runs):
        said.append("no current limit is given: the controller is taken never to limit")
    measured = sorted({c for log in logs for c in log.channels if c != "throttle"})
    without = [c for c in measured if c not in campaign.bench.channels]
    if without:
        said.append(f"no calibration doubt is given for {', '.join(without)}: the wide defaults are used")
    if logs and not any("winding_temperature" in log.channels for log in logs):
        said.append("no temperature is logged: each run starts at the air's temperature")
    used = {r.flywheel for r in campaign.runs if r.flywheel is not None}
    for wheel in campaign.flywheels:
        if wheel.id in used and wheel.inertia_sd_kg_m2 is None:
            said.append(f"flywheel {wheel.id}: no inertia_sd_kg_m2; the default doubt is used")
    return tuple(said)
