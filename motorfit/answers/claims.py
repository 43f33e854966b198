"""A table of claimed points, a maker's say, beside what the posterior predicts for them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from motorfit.answers.bands import band
from motorfit.answers.errors import AnswerError
from motorfit.answers.figures import Conditions, machine_for
from motorfit.answers.pairing import Subject
from motorfit.answers.plain import chance, number, numbers, off_by
from motorfit.answers.posterior import FloatArray
from motorfit.answers.propellers import PropellerDraws
from motorfit.answers.question import RPM_PER_RAD_S
from motorfit.answers.spreads import PROPELLER_SPREAD
from motorfit.bench.campaign import load_campaign
from motorfit.bench.logs import read_run
from motorfit.bench.models import Air, Bench, Campaign, Motor, Run
from motorfit.physics.steady import operating_points

GAIN_SD, ROW_SD = 0.02, 0.01
"""Relative doubt of a claimed table: of all its rows together, and of each; tables seldom state theirs."""
MAX_ROWS = 500
_EDGE = {"speed": ("speed_rpm", RPM_PER_RAD_S), "thrust": ("thrust_n", 1.0), "current": ("current_a", 1.0),
         "torque": ("torque_nm", 1.0)}  # fmt: skip
_CLAIMED = tuple(name for name, _ in _EDGE.values())


@dataclass(frozen=True)
class ClaimedTable:
    """Claimed steady points.

    ``voltage_v`` and ``throttle`` are (rows,); ``columns`` holds claimed ``speed_rpm``, ``thrust_n``,
    ``current_a`` and ``torque_nm`` (rows,), NaN where a cell is empty; ``propeller`` is None where the
    file does not say.
    """

    name: str
    propeller: str | None
    voltage_v: FloatArray
    throttle: FloatArray
    columns: Mapping[str, FloatArray]


@dataclass(frozen=True)
class TableColumn:
    """One claimed column beside the prediction for another unit of the model.

    ``ratio`` is (median, low, high) of claimed over predicted, all rows together; ``z`` (rows,) the distance
    of each row in standard deviations of prediction and claim together; ``probability_as_far`` that of a
    table of the same model lying as far off, by the χ² of all rows with what they share.
    """

    name: str
    claimed: FloatArray
    predicted: FloatArray
    z: FloatArray
    ratio: tuple[float, float, float]
    probability_as_far: float


@dataclass(frozen=True)
class TableCheck:
    """A claimed table beside the posterior of one motor."""

    motor: str
    table: str
    propeller: str
    columns: tuple[TableColumn, ...]

    @property
    def texts(self) -> tuple[str, ...]:
        """A sentence a column."""
        return tuple(self._text(column) for column in self.columns)

    def _text(self, column: TableColumn) -> str:
        off = [off_by(ratio - 1.0) for ratio in column.ratio]
        odd = "which is odd" if column.probability_as_far < 0.05 else "which is nothing odd"
        return (
            f"{self.motor}, {self.table}: {column.name} as claimed is {off[0]} % ({off[1]} to {off[2]} %) "
            f"from what another unit with another {self.propeller} would show. A true table would lie as far "
            f"off with probability {chance(column.probability_as_far)}, {odd}."
        )

    def to_json(self) -> dict[str, Any]:
        """Return plain types."""
        return {
            "motor": self.motor,
            "table": self.table,
            "propeller": self.propeller,
            "columns": {
                c.name: {
                    "claimed": numbers(c.claimed),
                    "predicted": numbers(c.predicted),
                    "z": numbers(c.z),
                    "claimed_over_predicted": {
                        k: number(v) for k, v in zip(("median", "low", "high"), c.ratio, strict=True)
                    },
                    "probability_as_far": number(c.probability_as_far),
                    "text": self._text(c),
                }
                for c in self.columns
            },
        }


def read_claims(path: Path, motor: str) -> tuple[ClaimedTable, ...]:
    """Read claimed points: the tables of a campaign file, or one table on its own.

    Parameters
    ----------
    path :
        A campaign file (.toml), of which the ``table`` runs of the motor count; or a table (CSV and the other
        forms of logs) with columns for voltage, throttle, and what is claimed.
    motor :
        Whose tables; another motor's tables in a campaign file are left out.

    Raises
    ------
    AnswerError
        No table of this motor, or one without voltage and throttle.
    MotorfitError
        The file cannot be read.
    """
    if path.suffix.lower() == ".toml":
        campaign = load_campaign(path)
        runs = [run for run in campaign.runs if run.kind == "table" and run.motor == motor]
        if not runs:
            raise AnswerError("claims", str(path), f"a table run of {motor}", 'Give its runs kind = "table".')
    else:
        if not path.is_file():
            raise AnswerError("claims", str(path), "a file of claimed points", "Check the path.")
        campaign = _alone(path, motor)
        runs = list(campaign.runs)
    return tuple(_table(campaign, run) for run in runs)


def stated_claims(
    name: str,
    voltage_v: Sequence[float],
    throttle: Sequence[float],
    columns: Mapping[str, Sequence[float | None]],
) -> ClaimedTable:
    """Return claimed points given as columns.

    Parameters
    ----------
    name : what to call the table
    voltage_v, throttle : of each row [V], [1]
    columns : claimed ``speed_rpm``, ``thrust_n``, ``current_a`` or ``torque_nm``; None for an empty cell

    Raises
    ------
    AnswerError
        Nothing is claimed, columns differ in length, or one is empty.
    """
    sizes = {
        "voltage_v": len(voltage_v),
        "throttle": len(throttle),
        **{k: len(v) for k, v in columns.items()},
    }
    if not columns:
        raise AnswerError("claims", name, "a claimed column", f"Add {' or '.join(_CLAIMED)}.")
    if len(set(sizes.values())) > 1:
        told = ", ".join(f"{key} {size}" for key, size in sizes.items())
        raise AnswerError("claims", told, "as many values in each column", "Write null for an empty cell.")
    bare = [key for key, values in columns.items() if not any(v is not None and v > 0.0 for v in values)]
    if bare:
        raise AnswerError("claims", bare[0], "a value above 0 in each column", "Leave empty columns out.")
    known = {key: np.array([math.nan if v is None else v for v in values]) for key, values in columns.items()}
    return ClaimedTable(name, None, np.array(voltage_v, dtype=float), np.array(throttle, dtype=float), known)


def _alone(path: Path, motor: str) -> Campaign:
    run = Run(id="claims", motor="claimed", kind="table", file=path.resolve())
    return Campaign(
        format=1, title=f"Claims about {motor}", path=path, sha256="", bench=Bench(), runs=(run,),
        air=Air(temperature_c=15.0, pressure_hpa=1013.25, humidity_pct=0.0), motors=(Motor(id="claimed"),),
        propellers=(), flywheels=(), measurements=(), priors={},
    )  # fmt: skip


def _table(campaign: Campaign, run: Run) -> ClaimedTable:
    channels = read_run(campaign, run).channels
    missing = [name for name in ("voltage", "throttle") if name not in channels]
    if missing:
        raise AnswerError(
            "claims",
            run.file.name,
            "columns for voltage and throttle",
            f"Add {' and '.join(missing)} to the table.",
        )
    known = np.isfinite(channels["voltage"]) & np.isfinite(channels["throttle"]) & (channels["voltage"] > 0.0)
    if not 1 <= known.sum() <= MAX_ROWS:
        raise AnswerError("claims", run.file.name, f"1 to {MAX_ROWS} rows", "Give the points that count.")
    columns = {
        name: factor * channels[channel][known]
        for channel, (name, factor) in _EDGE.items()
        if channel in channels
    }
    return ClaimedTable(
        run.file.name, run.propeller, channels["voltage"][known], channels["throttle"][known], columns
    )


def check_table(
    table: ClaimedTable,
    other_unit: Subject,
    propeller: PropellerDraws | str,
    conditions: Conditions,
    interval: float,
) -> TableCheck:
    """Set a claimed table beside the prediction for another unit with another copy of the propeller.

    Parameters
    ----------
    table : claimed points
    other_unit : draws of another unit of the model
    propeller : the one the table is for
    conditions : air, current limit and temperatures
    interval : probability inside the ratio's low..high
    """
    at = replace(conditions, voltage_v=float(np.median(table.voltage_v)))
    machine = machine_for(other_unit, propeller, at)
    rng = np.random.default_rng(len(table.throttle))
    c_t, c_q = (
        np.asarray(getattr(machine.load, name), dtype=np.float64) * _copies(rng, name, machine.draws)
        for name in ("thrust_coefficient", "torque_coefficient")
    )
    load = replace(machine.load, thrust_coefficient=c_t, torque_coefficient=c_q)
    points = operating_points(table.throttle, table.voltage_v, machine.drive, load)
    predicted = {
        "speed_rpm": points.speed * RPM_PER_RAD_S,
        "thrust_n": points.thrust,
        "current_a": points.bus_current,
        "torque_nm": points.torque,
    }
    columns = [_column(n, c, predicted[n], interval) for n, c in table.columns.items()]
    return TableCheck(
        other_unit.name, table.name, machine.propeller.name, tuple(c for c in columns if c is not None)
    )


def _copies(rng: np.random.Generator, name: str, size: int) -> FloatArray:
    spread = PROPELLER_SPREAD[name] * np.abs(rng.standard_normal(size))
    return np.asarray(np.exp(spread * rng.standard_normal(size)))


def _column(name: str, claim: FloatArray, draws: FloatArray, interval: float) -> TableColumn | None:
    """Compare one column (rows,) with its draws (S, rows), on the logarithm."""
    from scipy.stats import chi2

    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(draws)
        target = np.log(claim)
    usable = np.isfinite(target) & np.isfinite(logs).all(axis=0)
    if not usable.any():
        return None
    logs, target = logs[:, usable], target[usable]
    n = len(target)
    gap = target - logs.mean(axis=0)
    V = np.atleast_2d(np.cov(logs.T)) + GAIN_SD**2 + ROW_SD**2 * np.eye(n)
    far = float(chi2.sf(gap @ np.linalg.solve(V, gap), n))
    z = np.full(len(claim), math.nan)
    z[usable] = gap / np.sqrt(np.diag(V))
    ratio = band(np.exp(target.mean() - logs.mean(axis=1))[np.newaxis], interval)
    return TableColumn(
        name,
        claim,
        np.median(draws, axis=0),
        z,
        (float(ratio.median[0]), float(ratio.low[0]), float(ratio.high[0])),
        far,
    )
