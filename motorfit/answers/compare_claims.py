"""Claimed figures and tables of a comparison, beside the unit tested and another of its model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from motorfit.answers.claims import ClaimedTable, TableCheck, check_table
from motorfit.answers.errors import AnswerError
from motorfit.answers.figures import Conditions, figures, label_kv, machine_for
from motorfit.answers.hierarchy import Model, model_of
from motorfit.answers.labels import Claimed, claimed
from motorfit.answers.metrics import chosen_metrics
from motorfit.answers.pairing import Subject
from motorfit.answers.question import Machine


def claimed_figures(
    claims: Mapping[str, float],
    groups: Mapping[str, Sequence[Subject]],
    subjects: Sequence[Subject],
    joined: Mapping[str, Model],
    conditions: Conditions,
    machines: Sequence[Machine | None],
    interval: float,
) -> tuple[Claimed, ...]:
    """Every printed K_v, and every claimed figure, beside the unit tested and another unit of its model."""
    for key in claims:
        owner = key.rpartition(":")[0]
        if owner and _group_of(owner, groups) is None:
            raise AnswerError("claim", key, f"a motor of {', '.join(groups)}", "Write MOTOR:METRIC=FIGURE.")
    found = []
    for (name, group), subject, machine in zip(groups.items(), subjects, machines, strict=True):
        asked = {
            key.rpartition(":")[2]: figure
            for key, figure in claims.items()
            if not key.rpartition(":")[0] or _group_of(key.rpartition(":")[0], groups) == name
        }
        label = label_kv(subject)
        printed = label is not None and "kv" not in asked
        if label is not None:
            asked = {"kv": label, **asked}
        if not asked:
            continue
        wanted = chosen_metrics(
            tuple(asked), propeller=conditions.propeller is not None, voltage=conditions.voltage_v is not None
        )
        other = _other_unit(name, group, joined)
        turning = machine is not None and any(m.need == "propeller" for m in wanted)
        again = machine_for(other, machine.propeller, conditions) if machine is not None and turning else None
        if any(m.base == "hover_power_w" for m in wanted) and conditions.hover_thrust_n is None:
            raise AnswerError("claim", "hover_power_w", "with a mass stated", "State --mass-g and --motors.")
        ours, theirs = (figures(s, wanted, conditions, m) for s, m in ((group[0], machine), (other, again)))
        found += [
            claimed(
                name,
                metric,
                asked[metric.name],
                ours[metric.name],
                theirs[metric.name],
                interval,
                printed=printed and metric.name == "kv",
            )
            for metric in wanted
        ]
    return tuple(found)


def claimed_tables(
    tables: Sequence[tuple[str, ClaimedTable]],
    groups: Mapping[str, Sequence[Subject]],
    subjects: Sequence[Subject],
    joined: Mapping[str, Model],
    conditions: Conditions,
    interval: float,
) -> tuple[TableCheck, ...]:
    """Every claimed table beside the posterior of its motor."""
    found = []
    for motor, table in tables:
        name = _group_of(motor, groups)
        if name is None:
            raise AnswerError("claims", motor, f"a motor of {', '.join(groups)}", "Compare that motor too.")
        subject = subjects[list(groups).index(name)]
        propeller = table.propeller if table.propeller in subject.propellers else conditions.propeller
        if propeller is None:
            raise AnswerError("claims", table.name, "with a propeller stated", "Say which: --propeller ID.")
        other = _other_unit(name, groups[name], joined)
        found.append(check_table(table, other, propeller, conditions, interval))
    return tuple(found)


def _group_of(motor: str, groups: Mapping[str, Sequence[Subject]]) -> str | None:
    """The name a motor answers under: its own, or its model's."""
    own = (name for name, group in groups.items() if any(subject.motor == motor for subject in group))
    return motor if motor in groups else next(own, None)


def _other_unit(name: str, group: Sequence[Subject], joined: Mapping[str, Model]) -> Subject:
    return joined[name].new_unit if name in joined else model_of(group).new_unit
