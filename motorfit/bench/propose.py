"""A commented campaign file for a folder of logs: what they say, and what a person has to look at."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from motorfit.bench.guess import LogGuess, guess_log
from motorfit.bench.logfile import read_table
from motorfit.bench.portion import parts_of
from motorfit.bench.rawtable import RawTable
from motorfit.bench.textlog import UnreadableLogError
from motorfit.errors import MotorfitError

__all__ = ["MARK", "NoLogsError", "Proposal", "propose"]

MARK = "# ??"
"""Stands behind each line that a person has to look at."""

_SUFFIXES = (".csv", ".tsv", ".txt", ".dat", ".log", ".gz", ".parquet", ".xlsx", ".nc")
_MOST_FILES = 500
_USUAL = {"speed": "rpm", "voltage": "V", "current": "A", "throttle": "%", "thrust": "N"}


class NoLogsError(MotorfitError):
    """A folder without a log that can be read."""


@dataclass(frozen=True)
class Proposal:
    """A campaign file's text, its number of runs, its unsure lines, and files not taken and why.

    `places` says of each unsure line which part of the file it stands in, such as ``run ramp-1``.
    """

    text: str
    runs: int
    unsure: tuple[str, ...]
    places: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass
class _Run:
    file: str
    guess: LogGuess
    id: str
    motor: str
    propeller: str | None
    part: int | None = None


def propose(folder: Path) -> Proposal:
    """Propose a campaign for the logs in a folder and in those below it; raises `NoLogsError`."""
    runs: list[_Run] = []
    left_out: list[str] = []
    for file in _files(folder):
        name = file.relative_to(folder).as_posix()
        try:
            table = read_table(file, file.read_bytes())
        except OSError as error:
            left_out.append(f"{name}: {error.strerror}")
            continue
        except UnreadableLogError as error:
            left_out.append(f"{name}: {error.remark.message}")
            continue
        torn = [m for m in table.remarks if m.kind == "header-width" and "commas" in m.remedy]
        if torn:  # where a number ends is told by nothing, so that any proposal would be wrong
            left_out.append(f"{name}: {torn[0].message}. {torn[0].remedy}")
            continue
        whole = guess_log(file, table)
        if not whole.columns:
            left_out.append(f"{name}: no column's name is known ({', '.join(whole.left_out[:8])})")
            continue
        guesses = _guesses(file, table, whole)
        for part, guess in enumerate(guesses, 1):
            number = part if len(guesses) > 1 else None
            runs.append(
                _Run(
                    name,
                    guess,
                    _unused(_id(name, number), {r.id for r in runs}),
                    guess.motor or "motor-1",
                    (guess.propeller or "propeller-1") if guess.has_propeller else None,
                    number,
                )
            )
    if not runs:
        seen = "".join(f"\n  - {line}" for line in left_out[:10])
        raise NoLogsError(
            f"{folder}: no log that can be read; looked for {', '.join(_SUFFIXES)}.{seen}\n"
            "Put the logs of the day into this folder and try again."
        )
    lines = _lines(folder, runs, left_out)
    unsure = [(place, line.strip()) for place, line in _placed(lines) if MARK in line]
    text, places = tuple(line for _, line in unsure), tuple(place for place, _ in unsure)
    return Proposal("\n".join(lines) + "\n", len(runs), text, places, tuple(left_out))


def _guesses(file: Path, table: RawTable, whole: LogGuess) -> list[LogGuess]:
    """A proposal for each part of a file; the parts are of different kinds as often as not."""
    clock = next((c.column for c in whole.columns if c.channel == "time"), None)
    if whole.kind == "table" or clock is None:
        return [whole]
    parts = parts_of(table, _position(clock, table.names))
    if len(parts) < 2:
        return [whole]
    rows = np.arange(len(table.numbers))
    return [guess_log(file, table.only((rows >= a) & (rows < b))) for a, b in parts]


def _placed(lines: list[str]) -> Iterator[tuple[str, str]]:
    """(place, line) of each line but the first: the table it stands in, with its id once that is known."""
    place = "campaign"
    for line in lines[1:]:
        several, one = re.match(r"\[\[(\w+)s\]\]", line), re.match(r"\[(\w+)", line)
        if several:
            place = several[1]
        elif one and one[1] != "runs":
            place = one[1]
        name = re.match(r'id = "(.*?)"', line)
        if name:
            place = f"{place} {name[1]}"
        yield place, line


def _files(folder: Path) -> list[Path]:
    try:
        found = sorted(
            p
            for p in folder.rglob("*")
            if p.suffix.lower() in _SUFFIXES
            and p.is_file()
            and not any(part.startswith(".") for part in p.relative_to(folder).parts)
        )
    except OSError as error:
        raise NoLogsError(f"{folder}: {error.strerror}. Name a folder that can be read.") from None
    if len(found) > _MOST_FILES:
        raise NoLogsError(
            f"{folder}: {len(found)} files that may be logs, at most {_MOST_FILES} are looked at. "
            "Name the folder of one day."
        )
    return found


def _position(column: str | int, names: tuple[str, ...] | None) -> int:
    return column - 1 if isinstance(column, int) else [n.strip() for n in names or ()].index(column)


def _id(name: str, part: int | None) -> str:
    bare = re.sub(r"(\.[A-Za-z]+)+$", "", Path(name).name)
    stem = re.sub(r"[^A-Za-z0-9._-]+", "-", bare).strip("-._") or "run"
    return stem[:80] + (f"-{part}" if part else "")


def _unused(wanted: str, taken: set[str]) -> str:
    name, k = wanted, 2
    while name in taken:
        name, k = f"{wanted}-{k}", k + 1
    return name


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _lines(folder: Path, runs: list[_Run], left_out: list[str]) -> list[str]:
    title = folder.resolve().name or "A day at the bench"
    lines = [
        "# Proposed from the logs. Look at every line that ends in ?? and at the kinds, then:",
        "#   motorfit check on this file, and motorfit fit",
        "format = 1",
        f"title = {_quoted(title)}  {MARK}",
        "",
    ]
    if any(r.propeller for r in runs):
        lines += [
            "[air]  # thrust is proportional to its density",
            f"temperature_c = 20  {MARK}",
            f"pressure_hpa = 1013.25  {MARK} station pressure, not reduced to sea level",
            f"humidity_pct = 50  {MARK}",
            "",
        ]
    lines += [
        "[bench]",
        'name = "bench"',
        "[bench.controller]",
        f"# resistance_ohm = 0.006  {MARK} of controller and leads; left out: a wide prior",
        f"# current_limit_a = 60  {MARK} of motor current, if the controller is set to limit it",
        "# [bench.channels.thrust]     # calibration doubt of a sensor, one sigma; left out: wide defaults",
        "# gain_sd = 0.01",
        "# offset_sd = 0.02",
    ]
    electrical = any(c.unit and c.unit.casefold().endswith("erpm") for r in runs for c in r.guess.columns)
    for motor in dict.fromkeys(r.motor for r in runs):
        lines += ["", "[[motors]]", f"id = {_quoted(motor)}  {MARK} by the files' names"]
        lines += [f"pole_pairs = 7  {MARK} count the magnets, halve" if electrical else "# pole_pairs = 7"]
        lines += ["# label_kv = 1000            # what the maker printed", "# mass_g = 50"]
    for name in dict.fromkeys(r.propeller for r in runs if r.propeller):
        best = next(
            (r.guess for r in runs if r.propeller == name and "file" in r.guess.size_doubt),
            next(r.guess for r in runs if r.propeller == name),
        )
        lines += ["", "[[propellers]]", f"id = {_quoted(name)}  {MARK} by the files' names"]
        lines += [f"diameter_in = {best.diameter_in or 7.0:g}  {MARK} {best.size_doubt}"]
        lines += [f"pitch_in = {best.pitch_in or 4.0:g}  {MARK} {best.size_doubt}"]
        lines += [f"blades = {best.blades or 2}  {MARK}" + (f" {best.size_doubt}" if best.blades else "")]
    if any(r.guess.has_flywheel for r in runs):
        lines += ["", "[[flywheels]]", 'id = "disc"']
        lines += [f"inertia_kg_m2 = 2.0e-4  {MARK} not known: weigh and measure it"]
        lines += [f"inertia_sd_kg_m2 = 2.0e-5  {MARK} the doubt of that"]
        lines += ["# motor_turns_per_turn = 1     # geared or chained: another number"]
    elif any(r.guess.kind in ("spin-up", "coast-down") for r in runs):
        lines += [
            "",
            '# [[flywheels]]             # where a disc was spun; then flywheel = "disc" in its runs',
        ]
        lines += ['# id = "disc"', "# inertia_kg_m2 = 2.0e-4", "# inertia_sd_kg_m2 = 2.0e-6"]
    for run in runs:
        lines += ["", *_run_lines(run)]
    if left_out:
        lines += ["", "# Not taken:", *(f"# {' '.join(line.split())}" for line in left_out)]
    return lines


def _run_lines(run: _Run) -> list[str]:
    guess = run.guess
    doubt = f"  {MARK} {guess.kind_doubt}" if guess.kind_doubt else ""
    lines = ["[[runs]]", f"id = {_quoted(run.id)}", f"motor = {_quoted(run.motor)}"]
    lines += [f"kind = {_quoted(guess.kind)}{doubt}", f"file = {_quoted(run.file)}"]
    if run.part is not None:
        lines.append(f"part = {run.part}  {MARK} time starts over in this file")
    if run.propeller is not None:
        lines.append(f"propeller = {_quoted(run.propeller)}")
    elif guess.speed_of_wheel:
        named = f'"{" ".join(guess.speed_of_wheel.split())}" is a column'
        lines.append(f'flywheel = "disc"  {MARK} {named}')
        lines.append(f'speed_of = "flywheel"  {MARK} {named}; "motor" if it is the motor\'s after all')
    elif guess.has_flywheel:
        lines.append(f'flywheel = "disc"  {MARK} speed rises slowly: a disc seems to be on')
    elif guess.kind in ("spin-up", "coast-down"):
        lines.append(f'# flywheel = "disc"  {MARK} if one was on')
    if guess.kind in ("spin-up", "no-load"):
        lines.append(f"# current_limit_a = 30  {MARK} if this run had a limit of its own")
    if run.propeller is None and guess.propeller_doubt:
        lines.append(f'# propeller = "propeller-1"  {MARK} {guess.propeller_doubt}; declare it as well')
    stated = [c for c in guess.columns if c.stated]
    if stated:
        said = ", ".join(f"{c.channel}: {' '.join(str(c.column).split())}" for c in stated)
        lines.append(f"# by the header: {said}")
    if guess.left_out:
        lines.append(f"# columns not taken: {'; '.join(' '.join(n.split()) for n in guess.left_out[:12])}")
    mine = [c for c in guess.columns if not c.stated]
    if guess.kind == "table":
        mine = [c for c in mine if c.channel != "time"]
    if mine:
        lines.append("[runs.columns]")
        for c in mine:
            column = str(c.column) if isinstance(c.column, int) else _quoted(c.column)
            unit = f", unit = {_quoted(c.unit)}" if c.unit else ""
            lines.append(f"{c.channel} = {{ column = {column}{unit} }}  {MARK} {c.doubt}")
    wanted = ["speed", "voltage", "current", "throttle", *(["thrust"] if run.propeller else [])]
    missing = [c for c in wanted if not any(g.channel == c for g in guess.columns)]
    if guess.left_out and missing and not mine:
        lines.append("# [runs.columns]")
    headed = not any(isinstance(c.column, int) for c in guess.columns)
    names = "; ".join(" ".join(n.split()) for n in guess.left_out[:6])
    if not headed:  # what they hold stands above
        names = ", ".join(n.partition(" ")[0] for n in guess.left_out)
        missing += [] if run.propeller else ["thrust"]
    column = '"..."' if headed else guess.left_out[0].partition(" ")[0] if guess.left_out else ""
    for channel in missing if guess.left_out else []:
        unit = _USUAL[channel]
        lines.append(f'# {channel} = {{ column = {column}, unit = "{unit}" }}  {MARK} is it one of: {names}?')
    if "speed" in missing and not guess.left_out:
        lines.append('# speed = { column = 2, unit = "rpm" }   # needed: which column is it?')
    return lines
