"""Records of fitted benches: one JSON object a line, one file a scenario, appended as benches are done."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from motorfit.calibration.scenarios import SCENARIOS, CalibrationError

Record = Mapping[str, Any]
"""`scenario`, `seed`, and either `failed` (a message) or what `bench.do` makes: `parameters`, name -> `z`
(truth less mean, in standard deviations), `u` (share of draws below it) and more; `pairs`, `curves`."""


def file_of(folder: Path, scenario: str) -> Path:
    """Where a scenario's records lie."""
    return folder / f"{scenario}.jsonl"


def read_records(folder: Path, scenario: str) -> list[dict[str, Any]]:
    """A scenario's records in order of seed; none where there is no file.

    A last line without its end is what a killed run left; it is passed over and its bench done again.

    Raises
    ------
    CalibrationError : where a whole line is not a record of this scenario
    """
    path = file_of(folder, scenario)
    try:
        text = path.read_text(encoding="utf-8") if path.exists() else ""
    except (OSError, UnicodeDecodeError) as error:
        raise CalibrationError(f"{path} cannot be read ({error}); a text file is needed.") from error
    found: dict[int, dict[str, Any]] = {}
    for number, line in enumerate(text.split("\n")[:-1], start=1):
        try:
            record = json.loads(line)
            sound = record["scenario"] == scenario and ("failed" in record or "parameters" in record)
            seed = int(record["seed"])
        except (ValueError, KeyError, TypeError):
            sound = False
        if not sound:
            raise CalibrationError(
                f"{path}, line {number}: not a record of {scenario}; allowed is a JSON object with scenario, "
                "seed, and parameters or failed. Remove the line, or name another folder with --out."
            )
        found[seed] = record
    return [found[seed] for seed in sorted(found)]


def read_all(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """Records of every scenario that has some."""
    every = {name: read_records(folder, name) for name in SCENARIOS}
    return {name: records for name, records in every.items() if records}


def append(folder: Path, record: Record) -> None:
    """Add a record as one line, on disk when this returns; a torn last line is removed first.

    Raises
    ------
    CalibrationError : when the file cannot be written
    """
    path = file_of(folder, str(record["scenario"]))
    line = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("a+b") as stream:
            stream.seek(0)
            whole = stream.read().rfind(b"\n") + 1
            stream.truncate(whole)
            stream.write(line.encode())
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise CalibrationError(
            f"{path} cannot be written ({error.strerror}); a folder with write access and free space is "
            "needed. Name another with --out."
        ) from error


def missing(records: Sequence[Record], seed: int, benches: int) -> list[int]:
    """Seeds from ``seed`` on, so many, that have no record yet."""
    done = {record["seed"] for record in records}
    return [s for s in range(seed, seed + benches) if s not in done]
