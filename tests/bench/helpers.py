"""Small campaigns on disk for the tests of the bench."""

from __future__ import annotations

from pathlib import Path

from motorfit.bench.campaign import Campaign, load_campaign
from motorfit.bench.logs import RunLog, read_run

HEADER = "time [s],throttle [%],voltage [V],current [A],speed [rpm],thrust [N],torque [N m]\n"

CAMPAIGN = """
format = 1
title = "A test day"
[air]
temperature_c = 18.5
pressure_hpa = 1009.0
humidity_pct = 55
[bench]
name = "stand"
[[motors]]
id = "heron"
mass_g = 48.2
pole_pairs = 7
label_kv = 1000
[[propellers]]
id = "p7x35x3"
diameter_in = 7
pitch_in = 3.5
blades = 3
[[flywheels]]
id = "disc"
inertia_kg_m2 = 2.0e-4
inertia_sd_kg_m2 = 1.5e-6
motor_turns_per_turn = 4
[[runs]]
id = "a"
motor = "heron"
kind = "{kind}"
file = "{file}"
{more}
"""


def rows(count: int = 30, step_s: float = 0.01) -> list[str]:
    """Lines of a clean ramp under `HEADER`."""
    return [
        f"{i * step_s:.4f},{min(10 + i, 100):.2f},{23.5 - 0.01 * i:.3f},{1 + 0.1 * i:.4f},{2000 + 100 * i},"
        f"{0.5 + 0.1 * i:.4f},{0.01 + 0.001 * i:.5f}\n"
        for i in range(count)
    ]


def campaign_with(
    folder: Path,
    content: str | bytes,
    *,
    kind: str = "ramp",
    file: str = "a.csv",
    more: str = 'propeller = "p7x35x3"',
    base: str = CAMPAIGN,
) -> Campaign:
    """A campaign of one run whose log holds `content`."""
    data = content if isinstance(content, bytes) else content.encode()
    (folder / file).write_bytes(data)
    path = folder / "campaign.toml"
    path.write_text(base.format(kind=kind, file=file, more=more))
    return load_campaign(path)


def log_with(
    folder: Path,
    content: str | bytes,
    *,
    kind: str = "ramp",
    file: str = "a.csv",
    more: str = 'propeller = "p7x35x3"',
    base: str = CAMPAIGN,
) -> RunLog:
    """The one log of `campaign_with`."""
    campaign = campaign_with(folder, content, kind=kind, file=file, more=more, base=base)
    return read_run(campaign, campaign.runs[0])


def kinds(log: RunLog) -> list[str]:
    """The kinds of a log's findings, sorted."""
    return sorted(f.kind for f in log.findings)
