"""Time in another unit than stated, leaps of it, columns exchanged, and what a fit passes over."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.campaign import Campaign, load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.logs import try_read_runs
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.simulate import simulate_campaign

OPTIONS = BenchOptions(motors=1, propellers=1, runs=("no-load", "ramp", "steps", "coast-down"))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    folder = tmp_path_factory.mktemp("bench")
    simulate_campaign(folder, seed=61, options=OPTIONS)
    return load_campaign(folder / "campaign.toml")


def found(bench: Campaign, folder: Path, change, kinds: str = "") -> list[tuple[str, str, str | None]]:  # type: ignore[no-untyped-def]
    """(severity, kind, channel) of what `check` finds where every log's cells went through `change`."""
    runs = []
    for run in bench.runs:
        header, *lines = run.file.read_text().splitlines()
        cells = np.array([[float(c) for c in line.split(",")] for line in lines])
        file = folder / run.file.name
        body = "\n".join(
            ",".join(f"{c:.9g}" for c in row) for row in change(cells, header.split(",")).tolist()
        )
        file.write_text(f"{header}\n{body}\n")
        runs.append(run.model_copy(update={"file": file}))
    changed = bench.model_copy(update={"runs": tuple(runs)})
    logs, findings = try_read_runs(changed)
    return [(f.severity, f.kind, f.channel) for f in check_campaign(changed, logs, findings).findings]


@pytest.mark.parametrize("factor", [1e6, 1000.0, 0.001])
def test_time_in_another_unit(bench: Campaign, tmp_path: Path, factor: float) -> None:
    def change(cells, names):  # type: ignore[no-untyped-def]
        cells[:, 0] *= factor
        return cells

    assert ("error", "unit-slip", "time") in found(bench, tmp_path, change)


def test_a_clock_that_leaps(bench: Campaign, tmp_path: Path) -> None:
    def change(cells, names):  # type: ignore[no-untyped-def]
        cells[len(cells) // 2 :, 0] += 1e9
        return cells

    assert ("error", "clock-leaps", "time") in found(bench, tmp_path, change)


@pytest.mark.parametrize(("a", "b"), [(2, 3), (1, 2)])
def test_columns_exchanged(bench: Campaign, tmp_path: Path, a: int, b: int) -> None:
    def change(cells, names):  # type: ignore[no-untyped-def]
        if len(names) > 5:
            cells[:, [a, b]] = cells[:, [b, a]]
        return cells

    assert ("error", "swapped-columns", "voltage") in found(bench, tmp_path, change)


def test_what_is_not_fitted_is_told(bench: Campaign, tmp_path: Path) -> None:
    assert found(bench, tmp_path, lambda cells, names: cells) == [("note", "left-out", None)]


def test_a_channel_too_late_for_any_fit_is_an_error(bench: Campaign, tmp_path: Path) -> None:
    def change(cells, names):  # type: ignore[no-untyped-def]
        at = names.index("current [A]")
        cells[:, at] = np.interp(cells[:, 0] - 0.3, cells[:, 0], cells[:, at])
        return cells

    assert ("error", "late-channel", "current") in found(bench, tmp_path, change)
