"""Write docs/nomenclature.md from the table of quantities.

Usage: python .ci/make_nomenclature.py
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from motorfit.quantities import CHANNELS, PARAMETERS, Quantity

PAGE = Path(__file__).resolve().parent.parent / "docs" / "nomenclature.md"

HEAD = """# Nomenclature

Made by `.ci/make_nomenclature.py` from `motorfit/quantities.py`; a test keeps the two equal.
Change the table, not this page.

Names are those of files, JSON, measurements and prior overrides. Units are those of stored draws. Inside,
everything is SI; where the trade's unit is the natural one to report (`kv` in rpm/V), it is the one stored.

`kv`, `kt` and `winding_resistance` are at 25 °C. Propeller coefficients are static and at the propeller's
reference speed, 250 rev/s unless the campaign says otherwise. Propeller parameters have one value per
propeller; JSON keys them `thrust_coefficient[p7x35x3]`.
"""

GROUPS = {
    "motor": ("Motor", "One set per motor."),
    "propeller": ("Propeller", "One set per propeller, shared by all motors of a campaign."),
    "flywheel": ("Flywheel", "One per flywheel."),
    "controller": ("Controller", "One set per campaign: the stand's speed controller and its leads."),
}

NUISANCE = """
## Sensors

One set per logged channel and campaign, shared by every motor on the stand. `<channel>` is a name from the
table above, without `throttle`.

| name | unit | meaning |
|---|---|---|
| `gain_<channel>` | 1 | reading per true value |
| `offset_<channel>` | the channel's | reading at zero |
| `delay_<channel>` | s | how late the channel arrives |
| `lag_<channel>` | s | first-order time constant of the sensor |
| `jump_<channel>` | 1 | sampling intervals by which jumps of a slow sensor show later than the rest |
"""


def rows(quantities: Iterable[Quantity]) -> str:
    lines = ["| name | symbol | unit | meaning |", "|---|---|---|---|"]
    lines += [f"| `{q.name}` | {q.symbol} | {q.unit} | {q.meaning} |" for q in quantities]
    return "\n".join(lines)


def page() -> str:
    parts = [HEAD]
    for per, (title, text) in GROUPS.items():
        parts.append(f"\n## {title}\n\n{text}\n\n{rows(q for q in PARAMETERS.values() if q.per == per)}\n")
    parts.append(f"\n## Channels\n\nWhat a log holds, after conversion.\n\n{rows(CHANNELS.values())}\n")
    parts.append(NUISANCE)
    return "".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
