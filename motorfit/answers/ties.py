"""What campaigns have in common: motors and propellers tested in several of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.facts import propeller_facts
from motorfit.answers.pairing import Subject, logs_of
from motorfit.answers.posterior import FloatArray
from motorfit.answers.show import contraction
from motorfit.answers.spreads import PROPELLER_SPREAD, REMOUNT_SCATTER, UNIT_SPREAD

LEARNED = 0.8
"""Contraction that one of the campaigns must have reached: below, the two priors would be counted twice."""

_Key = tuple[str, str]  # kind and id: ("motor", "tern-2807"), ("propeller", "p7x35x3")


@dataclass(frozen=True)
class Tie:
    """One parameter of a common part: its scatter, and its logarithms (S,) by campaign."""

    key: _Key
    name: str
    scatter: float
    logs: Mapping[str, FloatArray]


def of_other_logs(subjects: Sequence[Subject]) -> list[Subject]:
    """Leave out campaigns that hold a log of an earlier one: the same data would count twice."""
    logs: dict[str, set[str]] = {}
    for subject in subjects:
        logs.setdefault(subject.campaign_fit, logs_of(subject))
    kept: set[str] = set()
    for campaign, own in logs.items():
        if not any(own & logs[other] for other in kept):
            kept.add(campaign)
    return [subject for subject in subjects if subject.campaign_fit in kept]


def ties_of(subjects: Sequence[Subject]) -> list[Tie]:
    """What at least two campaigns have in common and at least one of them learned."""
    found: list[Tie] = []
    for key, members in _common(subjects).items():
        kind, id_ = key
        spreads = PROPELLER_SPREAD if kind == "propeller" else _motor_scatter(members)
        for name, scatter in spreads.items():
            logs: dict[str, FloatArray] = {}
            best = 0.0
            for subject in members:
                values = _column(subject.draws, name, subject, id_ if kind == "propeller" else None)
                if values is None or not near_lognormal(values):
                    continue
                prior = _column(subject.prior, name, subject, id_ if kind == "propeller" else None)
                best = max(best, 1.0 if prior is None else contraction(values, prior))
                logs[subject.campaign_fit] = np.log(values)
            if len(logs) > 1 and best >= LEARNED:
                found.append(Tie(key, name, scatter, logs))
    return found


def _common(subjects: Sequence[Subject]) -> dict[_Key, list[Subject]]:
    """Motors and propellers that more than one campaign holds, one subject a campaign."""
    holders: dict[_Key, dict[str, Subject]] = {}
    shapes: dict[str, tuple[float, int]] = {}
    for subject in subjects:
        holders.setdefault(("motor", subject.motor), {}).setdefault(subject.campaign_fit, subject)
        for propeller in subject.propellers:
            facts = propeller_facts(subject, propeller)
            shape = shapes.setdefault(propeller, (facts.diameter_m, facts.blades))
            if abs(facts.diameter_m / shape[0] - 1.0) < 0.005 and facts.blades == shape[1]:
                holders.setdefault(("propeller", propeller), {}).setdefault(subject.campaign_fit, subject)
    return {key: list(by.values()) for key, by in holders.items() if len(by) > 1}


def _motor_scatter(members: Sequence[Subject]) -> Mapping[str, float]:
    """Scatter of mounting again; between units where the campaigns name different ones."""
    units = {str((s.constant.get("motor") or {}).get("unit")) for s in members}
    return REMOUNT_SCATTER if len(units) == 1 else UNIT_SPREAD


def _column(
    table: Mapping[str, NDArray[Any]], name: str, subject: Subject, propeller: str | None
) -> FloatArray | None:
    array = table.get(name)
    if array is None:
        return None
    values = np.asarray(array, dtype=np.float64).reshape(-1, *array.shape[2:])
    return values if propeller is None else values[:, subject.propellers.index(propeller)]


def near_lognormal(values: FloatArray) -> bool:
    """Positive, finite, and not piled up at zero as what may be absent is; such parameters stay."""
    if not (np.isfinite(values).all() and (values > 0.0).all()):
        return False
    logs = np.log(values)
    low, median, high = np.quantile(logs, (0.02, 0.5, 0.98))
    return bool(high > low and median - low < 3.0 * (high - median))


def together(ties: Sequence[Tie]) -> tuple[frozenset[str], ...]:
    """Campaigns that ties join, directly or through others."""
    groups: list[set[str]] = []
    for tie in ties:
        joined = set(tie.logs)
        apart = []
        for group in groups:
            if group & joined:
                joined |= group
            else:
                apart.append(group)
        groups = [*apart, joined]
    return tuple(frozenset(group) for group in groups)
