"""Diagnostics as a person reads them."""

from __future__ import annotations

import io
from typing import Any

from rich.console import Console

from motorfit.report.diagnosis_tables import diagnosis_tables

DIAGNOSTICS: dict[str, Any] = {
    "sentences": ["Pareto k is 0.31."],
    "directions": {
        "best_known": [{"sd_over_prior": 0.001, "combination": {"kv[m]": 0.7, "gain_voltage": -0.7}}],
        "least_known": [{"sd_over_prior": 1.0, "combination": {"start_warmth[r]": 1.0}}],
    },
    "sensitivity": {
        part: {"powers": [0.8, 1.25], "moves": {"kt[m]": {"shift_sd": shift, "width_ratio": 0.9}}}
        for part, shift in (("machine_priors", -0.41), ("sensor_priors", 0.05), ("data", 0.1))
    },
    "runs": [
        {"run": "ramp", "pareto_k": 1.1, "misfit": 1.02},
        {"run": "hold", "pareto_k": 0.4, "misfit": 0.98, "moves": {"of": "kt[m]", "shift_sd": 0.2}},
    ],
    "misfit": [
        {"channel": "thrust", "axis": "direction", "low": -1.0, "high": -1.0, "blocks": 20, "off": 0.012,
         "deviations": 4.2},
        {"channel": "current", "axis": "speed", "low": 100.0, "high": 900.0, "blocks": 20, "off": -0.001,
         "deviations": -0.3},
    ],
}  # fmt: skip


def _printed(diagnostics: dict[str, Any]) -> str:
    out = io.StringIO()
    Console(file=out, width=160).print(diagnosis_tables("m", diagnostics))
    return out.getvalue()


def test_every_part_is_told() -> None:
    told = _printed(DIAGNOSTICS)
    for text in (
        "Pareto k is 0.31.", "+0.70 kv[m], -0.70 gain_voltage", "-0.41", "holdout --run",
        "kt[m] moves by +0.20", "slowing down", "+1.2", "+4.2", "100 to 900",
    ):  # fmt: skip
        assert text in told, text
    assert told.index("thrust") < told.index("100 to 900")


def test_an_older_fit_says_what_it_lacks() -> None:
    assert "fit the campaign again" in _printed({"sentences": ["Converged."]})
