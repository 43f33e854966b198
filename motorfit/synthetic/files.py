"""Files of a simulated bench: the campaign file, the logs, the truth; each whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motorfit.synthetic.plan import PlannedRun
from motorfit.synthetic.stand import Stand
from motorfit.synthetic.truth import TrueAir, TrueFlywheel, TrueMotor, TruePropeller

HEADERS = {
    "voltage": ("voltage [V]", "%.3f"),
    "current": ("current [A]", "%.3f"),
    "speed": ("speed [rpm]", "%.0f"),
    "thrust": ("thrust [N]", "%.4f"),
    "torque": ("torque [N m]", "%.6f"),
}
"""Header and printed resolution by channel."""


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that no one ever sees half of it."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    part.replace(path)


def log_text(
    time_s: NDArray[np.float64] | None,
    throttle: NDArray[np.float64],
    readings: Mapping[str, NDArray[np.float64]],
) -> str:
    """A log as comma-separated text; times [s] (None for a table), throttle [1] written in per cent."""
    names, formats, columns = [], [], []
    if time_s is not None:
        names, formats, columns = ["time [s]"], ["%.4f"], [time_s]
    names.append("throttle [%]")
    formats.append("%.2f")
    columns.append(100.0 * throttle)
    for channel, reading in readings.items():
        names.append(HEADERS[channel][0])
        formats.append(HEADERS[channel][1])
        columns.append(reading)
    line = ",".join(formats)
    rows = [line % row for row in zip(*(c.tolist() for c in columns), strict=True)]
    return "\n".join([",".join(names), *rows, ""])


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def campaign_text(
    title: str,
    bench: str,
    air: TrueAir,
    stand: Stand,
    motors: Sequence[TrueMotor],
    propellers: Sequence[TruePropeller],
    flywheels: Sequence[TrueFlywheel],
    runs: Sequence[PlannedRun],
) -> str:
    """The campaign file of a simulated bench: what its user would know, nothing of the truth."""
    lines = [
        "format = 1",
        f"title = {_quote(title)}",
        "\n[air]",
        f"temperature_c = {air.temperature_c}",
        f"pressure_hpa = {air.pressure_hpa}",
        f"humidity_pct = {air.humidity_pct}",
        "\n[bench]",
        f"name = {_quote(bench)}",
        "\n[bench.controller]",
        f"resistance_ohm = {stand.controller_resistance_ohm}",
        f"resistance_sd_ohm = {stand.controller_resistance_sd_ohm}",
        f"current_limit_a = {stand.current_limit_a:g}",
    ]
    for channel, sensor in stand.sensors.items():
        lines += [
            f"\n[bench.channels.{channel}]",
            f"gain_sd = {sensor.gain_sd}",
            f"offset_sd = {sensor.offset_sd}",
        ]
    for m in motors:
        lines += ["\n[[motors]]", f"id = {_quote(m.id)}", f"mass_g = {m.mass_g}"]
        lines += [f"pole_pairs = {m.pole_pairs}", f"label_kv = {m.label_kv:g}"]
    for p in propellers:
        lines += ["\n[[propellers]]", f"id = {_quote(p.id)}", f"diameter_in = {p.diameter_in}"]
        lines += [f"pitch_in = {p.pitch_in}", f"blades = {p.blades}", f"mass_g = {p.mass_g}"]
    for f in flywheels:
        lines += ["\n[[flywheels]]", f"id = {_quote(f.id)}", f"inertia_kg_m2 = {f.declared_kg_m2}"]
        lines += [f"inertia_sd_kg_m2 = {f.sd_kg_m2}"]
    for run in runs:
        lines += [
            "\n[[runs]]",
            f"id = {_quote(run.id)}",
            f"motor = {_quote(run.motor)}",
            f"kind = {_quote(run.kind)}",
        ]
        lines.append(f"file = {_quote(f'logs/{run.id}.csv')}")
        if run.propeller is not None:
            lines.append(f"propeller = {_quote(run.propeller)}")
        if run.flywheel is not None:
            lines.append(f"flywheel = {_quote(run.flywheel)}")
        if run.current_limit_a is not None:
            lines.append(f"current_limit_a = {run.current_limit_a:g}")
    return "\n".join(lines) + "\n"
