"""Reading the logs of a campaign into channels in SI units."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.campaign import Campaign, Run
from motorfit.bench.clock import Clock, make_clock
from motorfit.bench.columns import Assigned, assign_columns, conversion_remark
from motorfit.bench.excursions import without_excursions
from motorfit.bench.findings import Finding, LogError
from motorfit.bench.logfile import read_table
from motorfit.bench.portion import parts_remedy, portion_of, window_of
from motorfit.bench.rawtable import RawTable, Remark, remark_rows
from motorfit.bench.readings import believable, throttle_within, without_codes
from motorfit.bench.stamps import seconds_of_stamps
from motorfit.bench.textlog import UnreadableLogError
from motorfit.bench.unstated import unstated_unit
from motorfit.units import Conversion, UnitError, channel_conversion


@dataclass(frozen=True)
class RunLog:
    """One run's log.

    Attributes
    ----------
    run: the run it belongs to.
    time_s: float64 (n,), from 0 and strictly increasing [s]; None for a table of steady points.
    channels: float64 (n,) per channel, in the units of `motorfit.quantities.CHANNELS`; speed is always
        that of the motor's shaft [rad/s]; NaN where a cell is missing.
    findings: what reading showed, none of it an error.
    sha256: of the file's bytes.
    rows: int64 (n,), line (or sheet row) number of each instant, from 1; None for a log made in memory.
    """

    run: Run
    time_s: NDArray[np.float64] | None
    channels: dict[str, NDArray[np.float64]]
    findings: tuple[Finding, ...]
    sha256: str
    rows: NDArray[np.int64] | None = None


def read_run(campaign: Campaign, run: Run) -> RunLog:
    """Read one run's log; raises `LogError` with every error found in it."""
    log, findings = _read(campaign, run)
    errors = [f for f in findings if f.severity == "error"]
    if log is None or errors:
        raise LogError(errors)
    return log


def read_runs(campaign: Campaign) -> tuple[RunLog, ...]:
    """Read the logs of all runs; raises `LogError` with the errors of all of them together."""
    logs, findings = try_read_runs(campaign)
    errors = [f for f in findings if f.severity == "error"]
    if errors:
        raise LogError(errors)
    return logs


def try_read_runs(campaign: Campaign) -> tuple[tuple[RunLog, ...], tuple[Finding, ...]]:
    """The logs that can be read, and the findings of all logs, errors among them."""
    logs: list[RunLog] = []
    findings: list[Finding] = []
    for run in campaign.runs:
        log, found = _read(campaign, run)
        findings += found
        if log is not None and not any(f.severity == "error" for f in found):
            logs.append(log)
    return tuple(logs), tuple(findings)


def as_it_lies(campaign: Campaign, run: Run) -> RunLog | None:
    """A log for looking at, by its lines without a time where no clock can be made of it; None if unreadable.

    Not for a fit: errors of reading do not stop it.
    """
    try:
        content = run.file.read_bytes()
        table = read_table(run.file, content)
    except (OSError, UnreadableLogError):
        return None
    reading = _Reading(campaign, run, table)
    return reading.log(hashlib.sha256(content).hexdigest()) or reading.without_clock


def _read(campaign: Campaign, run: Run) -> tuple[RunLog | None, list[Finding]]:
    try:
        content = run.file.read_bytes()
    except OSError as error:
        fault = Remark(
            "error", "no-file", f"{run.file} cannot be read: {error.strerror}", "Check the run's file."
        )
        return None, [fault.of(run.id)]
    try:
        table = read_table(run.file, content)
    except UnreadableLogError as error:
        where = Remark("error", error.remark.kind, f"{run.file}: {error.remark.message}", error.remark.remedy)
        return None, [where.of(run.id)]
    reading = _Reading(campaign, run, table)
    log = reading.log(hashlib.sha256(content).hexdigest())
    return log, reading.findings


_NOTHING_READ = Remark(
    "error",
    "no-known-column",
    "no column of a known name holds a number",
    "Check that the sensors were connected, or name other columns in [runs.columns].",
)


class _Reading:
    """Turns one raw table into a `RunLog`, gathering findings on the way."""

    def __init__(self, campaign: Campaign, run: Run, table: RawTable) -> None:
        self._campaign, self._run, self._table = campaign, run, table
        self.findings: list[Finding] = [_of_parts(remark, run).of(run.id) for remark in table.remarks]
        self.without_clock: RunLog | None = None

    def _add(self, remarks: Iterable[Remark], channel: str | None = None) -> None:
        self.findings += [remark.of(self._run.id, channel) for remark in remarks]

    def log(self, sha256: str) -> RunLog | None:
        columns, remarks = assign_columns(self._table, self._run)
        self._add(remarks)
        time_column = columns.pop("time", None)
        portion, remarks = portion_of(
            self._table, self._run, None if time_column is None else time_column.position
        )
        self._add(remarks)
        if portion is None:
            return None
        self._table = portion
        if not columns:
            if not any(f.severity == "error" for f in self.findings):
                self._add([self._nothing_known()])
            return None
        values = {name: self._channel(name, column) for name, column in columns.items()}
        channels = {name: v for name, v in values.items() if v is not None}
        if not channels:
            if not any(f.severity == "error" for f in self.findings):
                self._add([_NOTHING_READ])
            return None
        if self._run.kind == "table":
            if time_column is not None:
                self._add(
                    [
                        Remark(
                            "note",
                            "time-left-out",
                            "a table of steady points needs no time; left out",
                            "If this is a log against time, correct the run's kind.",
                        )
                    ]
                )
            return RunLog(self._run, None, channels, tuple(self.findings), sha256, self._table.row_numbers)
        clock = self._clock(time_column)
        if clock is None:
            rows = self._table.row_numbers
            self.without_clock = RunLog(self._run, None, channels, tuple(self.findings), sha256, rows)
            return None
        gathered = {name: clock.gather(v) for name, v in channels.items()}
        rows = self._table.row_numbers[clock.rows[clock.groups]]
        gathered, found = without_excursions(self._run.id, clock.time_s, gathered, rows)
        self.findings += found
        return RunLog(self._run, clock.time_s, gathered, tuple(self.findings), sha256, rows)

    def _nothing_known(self) -> Remark:
        if self._table.names is None:
            return Remark(
                "error",
                "no-header",
                f"the log has no header and {self._table.numbers.shape[1]} columns: {self._ranges()}",
                'Give the columns by position from 1: [runs.columns] speed = { column = 4, unit = "rpm" }.',
            )
        return Remark(
            "error",
            "no-known-column",
            "no column's name is known: " + ", ".join(self._table.names[:12]),
            "Name the columns in [runs.columns].",
        )

    def _ranges(self) -> str:
        """What the columns of a log without a header hold, for someone to recognise them by."""
        said = []
        for i, column in enumerate(self._table.numbers.T[:12], 1):
            known = column[np.isfinite(column)]
            said.append(f"{i} from {known.min():.6g} to {known.max():.6g}" if known.size else f"{i} empty")
        return ", ".join(said)

    def _conversion(self, channel: str, column: Assigned, values: NDArray[np.float64]) -> Conversion | None:
        """How a column's numbers become the channel's unit; an unstated unit is an assumption, said aloud."""
        unit = column.unit
        if unit is None:
            unit, remark = unstated_unit(channel, column, values)
            self._add([remark], channel)
            if unit is None:
                return None
        pole_pairs = self._campaign.motor(self._run.motor).pole_pairs
        try:
            return channel_conversion(channel, unit, pole_pairs)
        except UnitError as error:
            self._add([conversion_remark(channel, column, error)], channel)
            return None

    def _channel(self, channel: str, column: Assigned) -> NDArray[np.float64] | None:
        raw = self._table.numbers[:, column.position]
        texts = self._table.texts.get(column.position, {})
        rows = self._table.row_numbers
        if texts:
            some = ", ".join(sorted({repr(t) for t in texts.values()})[:3])
            self._add(
                [
                    remark_rows(
                        "warning",
                        "not-a-number",
                        f"no number but {some}; taken as missing",
                        "Look at these cells.",
                        rows[sorted(texts)],
                    )
                ],
                channel,
            )
        missing = ~np.isfinite(raw)
        if texts:
            missing[list(texts)] = False
        if missing.all():
            self._add(
                [
                    Remark(
                        "warning",
                        "empty-channel",
                        f'column "{column.label}" holds no number; left out',
                        "Check that the sensor was connected.",
                    )
                ],
                channel,
            )
            return None
        if missing.any():
            self._add(
                [
                    remark_rows(
                        "note",
                        "missing-cells",
                        "no value",
                        "Nothing to do if the sensor is slower than the log.",
                        rows[missing],
                    )
                ],
                channel,
            )
        if len(texts) == len(raw):
            return None
        raw, remarks = without_codes(raw, rows)
        self._add(remarks, channel)
        conversion = self._conversion(channel, column, raw)
        if conversion is None:
            return None
        values = (raw * conversion.factor + conversion.offset) * column.sign
        if channel == "speed" and self._run.speed_of == "flywheel" and self._run.flywheel is not None:
            values = values * self._campaign.flywheel(self._run.flywheel).motor_turns_per_turn
        if channel == "throttle":
            values, remarks = throttle_within(values, raw, rows)
            self._add(remarks, channel)
        values, remarks = believable(values, rows)
        self._add(remarks, channel)
        return values

    def _clock(self, column: Assigned | None) -> Clock | None:
        table, run = self._table, self._run
        if column is None:
            names = (
                ", ".join(table.names[:12]) if table.names else f"no header, {table.numbers.shape[1]} columns"
            )
            self._add(
                [
                    Remark(
                        "error",
                        "no-time-column",
                        f"a {run.kind} needs a time column; the log has: {names}",
                        'Name it in [runs.columns] time = { column = ..., unit = "s" }, or give the kind '
                        "table to a table of steady points.",
                    )
                ],
                "time",
            )
            return None
        stamps = seconds_of_stamps(table.texts.get(column.position, {}), len(table.numbers))
        to_seconds = 1.0
        words = table.texts.get(column.position, {})
        if stamps is None and len(words) > 0.5 * len(table.numbers):
            self._add([_strange_times(column.label, words, table.row_numbers)], "time")
            return None
        if stamps is None:
            stamps = table.numbers[:, column.position]
            conversion = self._conversion("time", column, stamps)
            if conversion is None:
                return None
            to_seconds = conversion.factor
        filled = np.isfinite(table.numbers[:, : min(table.numbers.shape[1], 40)]).mean() > 0.7
        clock, remarks = make_clock(stamps, table.row_numbers, to_seconds, table.numbers, bool(filled))
        self._add([self._with_parts(remark, column) for remark in remarks], "time")
        if clock is None:
            return None
        clock, remarks = window_of(run, clock)
        self._add(remarks)
        return clock

    def _with_parts(self, remark: Remark, time: Assigned) -> Remark:
        """A clock that starts over, with the parts that it makes of the file."""
        if remark.kind != "clock-starts-over":
            return remark
        return replace(remark, remedy=parts_remedy(self._table, time.position))


def _of_parts(remark: Remark, run: Run) -> Remark:
    """A header between the parts of a file, of which the run has chosen one, is nothing to wonder about."""
    if remark.kind != "repeated-header" or (run.part is None and run.where is None):
        return remark
    return replace(remark, severity="note", remedy="Nothing to do: the run is one part of its file.")


def _strange_times(label: str, words: Mapping[int, str], rows: NDArray[np.int64]) -> Remark:
    some = ", ".join(repr(text) for text in list(words.values())[:2])
    return remark_rows(
        "error",
        "time-not-understood",
        f'column "{label}" holds {some}: no time that is understood',
        "Write seconds, or times such as 2026-03-04T09:59:55.250 or 09:59:55.250.",
        rows[sorted(words)],
    )
