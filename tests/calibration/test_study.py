"""Benches are done once, records survive a kill, and what is no record is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from motorfit.calibration.bench import MAIN, Job, do
from motorfit.calibration.records import append, file_of, missing, read_all, read_records
from motorfit.calibration.scenarios import SCENARIOS, CalibrationError, chosen
from motorfit.calibration.study import study


class Worker:
    """Makes records without a fit; breaks off after so many."""

    def __init__(self, most: int = 1000) -> None:
        self.seen: list[tuple[str, int]] = []
        self.most = most

    def __call__(self, job: Job) -> dict[str, Any]:
        if len(self.seen) == self.most:
            raise KeyboardInterrupt
        self.seen.append((job.scenario, job.seed))
        return {"scenario": job.scenario, "seed": job.seed, "failed": "nothing was fitted"}


def refused(job: Job) -> dict[str, Any]:
    """A record made in another process."""
    return {"scenario": job.scenario, "seed": job.seed, "failed": f"{job.draws}"}


def test_a_run_that_was_broken_off_continues(tmp_path: Path) -> None:
    kinds = chosen(["rich", "nominal"])
    assert [kind.name for kind in kinds] == ["nominal", "rich"]
    first, second = Worker(most=3), Worker()
    with pytest.raises(KeyboardInterrupt):
        study(kinds, tmp_path, benches=2, seed=5, work=first)
    assert study(kinds, tmp_path, benches=2, seed=5, work=second) == 1
    assert first.seen + second.seen == [("nominal", 5), ("nominal", 6), ("rich", 5), ("rich", 6)]
    assert study(kinds, tmp_path, benches=2, seed=5, work=Worker(most=0)) == 0
    assert {name: len(records) for name, records in read_all(tmp_path).items()} == {"nominal": 2, "rich": 2}


def test_a_torn_last_line_is_done_again(tmp_path: Path) -> None:
    study(chosen(["rich"]), tmp_path, benches=2, seed=0, work=Worker())
    path = file_of(tmp_path, "rich")
    path.write_text(path.read_text(encoding="utf-8")[:-9], encoding="utf-8")
    assert [record["seed"] for record in read_records(tmp_path, "rich")] == [0]
    again = Worker()
    study(chosen(["rich"]), tmp_path, benches=2, seed=0, work=again)
    assert again.seen == [("rich", 1)]
    assert [record["seed"] for record in read_records(tmp_path, "rich")] == [0, 1]


@pytest.mark.parametrize("line", ["{}", "not JSON", '{"scenario":"nominal","seed":1,"failed":"x"}', "[1]"])
def test_a_line_that_is_no_record_is_named(tmp_path: Path, line: str) -> None:
    append(tmp_path, {"scenario": "rich", "seed": 1, "failed": "x"})
    with file_of(tmp_path, "rich").open("a", encoding="utf-8") as stream:
        stream.write(line + "\n")
    with pytest.raises(CalibrationError, match=r"rich\.jsonl, line 2: not a record of rich"):
        read_records(tmp_path, "rich")


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(CalibrationError, match="cannot be written"):
        append(tmp_path / "taken", {"scenario": "rich", "seed": 1, "failed": "x"})


def test_processes_give_the_same_records(tmp_path: Path) -> None:
    assert study(chosen(["rich"]), tmp_path, benches=3, seed=2, draws=700, jobs=2, work=refused) == 3
    assert [(r["seed"], r["failed"]) for r in read_records(tmp_path, "rich")] == [
        (2, "700"),
        (3, "700"),
        (4, "700"),
    ]


def test_seeds_that_are_missing() -> None:
    assert missing([{"seed": 4}, {"seed": 9}], 3, 3) == [3, 5]


def test_scenarios_differ_and_one_is_for_ranks() -> None:
    assert len({kind.options for kind in SCENARIOS.values()}) == len(SCENARIOS)
    assert [kind.name for kind in SCENARIOS.values() if kind.ranks] == ["sbc"]


def test_a_bench_is_fitted_and_scored() -> None:
    record = do(Job("no-torque-cell", 3, 400, "fast"))
    assert set(record["parameters"]) == set(MAIN)
    for found in record["parameters"].values():
        # ten standard deviations off would be a wrong pairing of truth and draws, not bad luck
        assert abs(found["z"]) < 10.0 and 0.0 <= found["u"] <= 1.0 and 0.0 < found["shrink"] < 2.0
        # no posterior is much narrower than all that data and priors hold, and a sound one not much wider
        assert 0.5 < found["width"] < 2.0
    assert 0.5 < record["chi2"] < 3.0 and set(record["curves"]) == {"voltage", "propeller-geometry-only"}
    assert record["path"] == "fast" and record["wall_s"] > 0.0


def test_a_bench_that_cannot_be_fitted_is_a_record(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise CalibrationError("no run can be used")

    monkeypatch.setattr("motorfit.calibration.bench.posterior_positions", refuse)
    record = do(Job("one-run", 3, 400))
    assert record["failed"] == "no run can be used" and "parameters" not in record
