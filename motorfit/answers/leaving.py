"""Which runs to leave out together, and what the rest then cannot tell of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from motorfit.answers.errors import AnswerError
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun

LEAVE = ("run", "pair", "propeller", "voltage")
"""What may be left out, one after another; a pair is a motor with a propeller."""

_SAME_VOLTAGE = 0.04
"""Relative step between sorted supply voltages below which they count as one."""


@dataclass(frozen=True)
class LeftOut:
    """One group of runs: `by` one of `LEAVE`, `value` what they have in common, `runs` their ids."""

    by: str
    value: str
    runs: tuple[str, ...]


def supply_voltage(run: BlockedRun) -> float | None:
    """Median voltage behind a run [V]; None where it has none (coasting, not logged)."""
    known = run.supply.open_circuit_v[np.isfinite(run.supply.open_circuit_v)]
    return None if run.mode == "freewheel" or known.size == 0 else float(np.median(known))


def groups(runs: Sequence[BlockedRun], by: str) -> tuple[LeftOut, ...]:
    """Every group that is left out in turn.

    Raises
    ------
    AnswerError
        Not one of `LEAVE`, or there is nothing of the kind to leave out.
    """
    if by not in LEAVE:
        raise AnswerError("leave", by, ", ".join(LEAVE), "Name what is left out, one after another.")
    if by == "voltage":
        return _voltages(runs)
    found: dict[str, list[str]] = {}
    for r in runs:
        value = _value(r, by)
        if value is not None:
            found.setdefault(value, []).append(r.run.id)
    if not found:
        raise AnswerError(
            "leave", by, "what some run of the campaign has", "No run of it has a propeller; leave out runs."
        )
    return tuple(LeftOut(by, value, tuple(ids)) for value, ids in found.items())


def _value(r: BlockedRun, by: str) -> str | None:
    if by == "run":
        return r.run.id
    if r.run.propeller is None:
        return None
    return r.run.propeller if by == "propeller" else f"{r.run.motor} with {r.run.propeller}"


def _voltages(runs: Sequence[BlockedRun]) -> tuple[LeftOut, ...]:
    known = sorted((v, r.run.id) for r in runs if (v := supply_voltage(r)) is not None)
    parts: list[list[tuple[float, str]]] = []
    for item in known:
        if parts and item[0] <= parts[-1][-1][0] * (1.0 + _SAME_VOLTAGE):
            parts[-1].append(item)
        else:
            parts.append([item])
    if len(parts) < 2:
        raise AnswerError(
            "leave", "voltage", "a campaign with runs at two voltages or more",
            "All of its runs have about the same; leave out runs instead.",
        )  # fmt: skip
    return tuple(
        LeftOut("voltage", f"{np.mean([v for v, _ in part]):.1f} V", tuple(id for _, id in part))
        for part in parts
    )


def one_run(runs: Sequence[BlockedRun], id: str) -> LeftOut:
    """The group of a single run; AnswerError where the campaign has no such run."""
    ids = [r.run.id for r in runs]
    if id not in ids:
        raise AnswerError("run", id, ", ".join(ids), "Name a run of the campaign file.")
    return LeftOut("run", id, (id,))


def untold(campaign: Campaign, held: BlockedRun, rest: Sequence[BlockedRun]) -> tuple[str, ...]:
    """What only the prior says of a run once it is left out, in sentences."""
    said = []
    motor, propeller = held.run.motor, held.run.propeller
    measured = campaign.measurements
    if not any(r.run.motor == motor for r in rest):
        said.append(
            f"No run of {motor} is left: it is predicted from "
            + ("its measurements and priors." if any(m.motor == motor for m in measured) else "priors only.")
        )
    if propeller is not None:
        others = [r for r in rest if r.run.propeller == propeller]
        if not others:
            known = any(m.propeller == propeller for m in measured)
            said.append(
                f"No run with {propeller} is left: it is predicted from "
                + (
                    "its measurements."
                    if known
                    else "its geometry, by what propellers have in common and those left tell."
                )
            )
        else:
            for channel in ("thrust", "torque"):
                if channel in held.mean and not any(channel in r.mean for r in others):
                    said.append(f"No other run with {propeller} logs {channel}.")
    for channel in held.mean:
        if rest and channel != "voltage" and not any(channel in r.mean for r in rest):
            said.append(f"No other run logs {channel}: its calibration rests on the declared doubt only.")
    return tuple(said)
