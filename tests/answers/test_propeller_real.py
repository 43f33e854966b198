"""Tables that nobody simulated: fitted on two propellers, others of known geometry lie in the bands."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from motorfit.answers.predict import predict
from motorfit.answers.propeller_search import find_propeller
from motorfit.archive.store import load_fit, save_fit
from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import read_runs
from motorfit.inference.fit import fit_campaign

pytestmark = [pytest.mark.shared, pytest.mark.slow]

GRAM_FORCE_N = 9.80665e-3


def _fitted(source: Path, folder: Path, kept: tuple[str, ...]) -> Path:
    head, *runs = (source / "campaign.toml").read_text(encoding="utf-8").split("[[runs]]")
    text = head + "".join(f"[[runs]]{run}" for run in runs if any(f'id = "{name}"' in run for name in kept))
    for name in kept:
        (folder / f"{name}.csv").write_bytes((source / f"{name}.csv").read_bytes())
    (folder / "campaign.toml").write_text(text, encoding="utf-8")
    campaign = load_campaign(folder / "campaign.toml")
    result: Any = fit_campaign(campaign, read_runs(campaign), method="fast", draws=1000)
    save_fit(folder / "library", result)
    return folder / "library"


@pytest.mark.parametrize(
    ("kept", "left", "motor", "geometry"),
    [
        (("small-8x4.5", "large-10x4.5"), "large-11x4.7", "large", "11x4.7x2"),
        (("small-9.4x5-hard", "large-11x4.7"), "large-10x4.5", "large", "10x4.5x2"),
        (("small-9.4x5-hard", "large-11x4.7"), "small-8x4.5", "small", "8x4.5x2"),
    ],
)
def test_a_propeller_of_known_geometry_lies_in_the_bands(
    shared_folder: Path, tmp_path: Path, kept: tuple[str, ...], left: str, motor: str, geometry: str
) -> None:
    source = shared_folder / "real" / "tables"
    library = _fitted(source, tmp_path, kept)
    fit = load_fit(library, motor)
    propeller = find_propeller(fit, geometry, library)
    assert len(propeller.sharpened_by) == 2
    with (source / f"{left}.csv").open(encoding="utf-8", newline="") as file:
        rows = [
            {key.split(" [")[0]: float(cell) for key, cell in row.items()} for row in csv.DictReader(file)
        ]
    inside = {"thrust_n": 0, "current_a": 0}
    for row in rows:
        found = predict(
            fit, propeller=propeller, voltage_v=row["voltage"], throttle=[row["throttle"] / 100.0]
        )
        measured = {"thrust_n": row["thrust"] * GRAM_FORCE_N, "current_a": row["current"]}
        for name, value in measured.items():
            curve = found.curves[name]
            inside[name] += int(curve.low[0] < value < curve.high[0])
    assert min(inside.values()) >= len(rows) - 1
