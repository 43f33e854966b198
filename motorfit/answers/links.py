"""Campaigns tied by what was tested in both.

Two campaigns know nothing of one another's sensors. A motor or a propeller tested in both does: the true
values on both days are equal but for the scatter of mounting it again, so that whatever differs is the two
benches' errors, and the difference of motors that met only one bench each gets sharper.

In logarithms the draws of a campaign are close to normal, and tying is conditioning on a linear equation with
noise. Draw by draw that is

    x ← x − Cov(x, L) Hᵀ S⁻¹ (H L + δ)        S = Σ H Cov(L) Hᵀ + Cov(δ)

with L the logarithms of what is in common, H the differences between campaigns and δ a draw of the scatter:
Matheron's rule (A. G. Journel, C. J. Huijbregts, Mining Geostatistics, 1978), the analysis step of the
ensemble Kalman filter (G. Evensen, doi:10.1029/94JC00572). Exact for normal draws; it moves draws and keeps
the ridges between parameters and sensors, which importance weights over pairs of draws would thin out to a
handful.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.facts import propeller_facts
from motorfit.answers.notes import Note
from motorfit.answers.pairing import Subject, logs_of
from motorfit.answers.posterior import FloatArray
from motorfit.answers.show import contraction
from motorfit.answers.spreads import PROPELLER_SPREAD, REMOUNT_SCATTER, UNIT_SPREAD
from motorfit.physics import motor as motor_physics

LEARNED = 0.8
"""Contraction that one of the campaigns must have reached: below, the two priors would be counted twice."""
DISAGREE = 0.01
"""Probability below which what two campaigns say of the common part is a contradiction, not a scatter."""

_Key = tuple[str, str]  # kind and id: ("motor", "tern-2807"), ("propeller", "p7x35x3")


@dataclass(frozen=True)
class _Tie:
    """One parameter of a common part: its scatter, and its logarithms (S,) by campaign."""

    key: _Key
    name: str
    scatter: float
    logs: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Linked:
    """Subjects with tied draws, notes ``linked`` or ``link-disagrees``, and which campaigns became tied."""

    subjects: tuple[Subject, ...]
    notes: tuple[Note, ...] = ()
    tied: tuple[frozenset[str], ...] = ()


def linked(subjects: Sequence[Subject]) -> Linked:
    """Tie campaigns through common motors and propellers.

    Parameters
    ----------
    subjects :
        Side by side (`motorfit.answers.pairing.side_by_side`): all motors of an answer, and with them the
        fits of motors that were tested in several of its campaigns.

    Returns
    -------
    Linked : the subjects in their order, draws of tied campaigns conditioned on the tie
    """
    apart = _of_other_logs(subjects)
    campaigns = list(dict.fromkeys(subject.campaign_fit for subject in apart))
    ties = _ties(apart) if len(campaigns) > 1 else []
    if not ties:
        return Linked(tuple(subjects))
    from scipy.stats import chi2

    logs, places = _stack(ties, campaigns)
    centred = {c: values - values.mean(axis=0) for c, values in logs.items()}
    size = len(next(iter(logs.values())))
    covariance = {c: values.T @ values / (size - 1) for c, values in centred.items()}
    H, noise = _equations(ties, campaigns, places)
    S: FloatArray = noise + np.sum([H[c] @ covariance[c] @ H[c].T for c in campaigns], axis=0)
    rng = np.random.default_rng(zlib.crc32("/".join(sorted(campaigns)).encode()))
    # Cov(δ) is of full rank: scatter of mounting stands in every equation.
    scatter = rng.standard_normal((size, len(noise))) @ np.linalg.cholesky(noise).T
    gap: FloatArray = np.sum([logs[c] @ H[c].T for c in campaigns], axis=0)
    mean = gap.mean(axis=0)
    doubt = float(chi2.sf(mean @ np.linalg.solve(S, mean), len(mean)))
    if doubt < DISAGREE:
        return Linked(tuple(subjects), (_disagreement(ties, mean, S, doubt),))
    pull = np.linalg.solve(S, (gap + scatter).T).T  # (S, equations)
    moved = tuple(
        _moved(s, centred[s.campaign_fit], pull @ H[s.campaign_fit]) if s.campaign_fit in centred else s
        for s in subjects
    )
    return Linked(moved, (_link_note(ties),), _together(ties))


def _together(ties: Sequence[_Tie]) -> tuple[frozenset[str], ...]:
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


def _of_other_logs(subjects: Sequence[Subject]) -> list[Subject]:
    """Leave out campaigns that hold a log of an earlier one: the same data would count twice."""
    logs: dict[str, set[str]] = {}
    for subject in subjects:
        logs.setdefault(subject.campaign_fit, logs_of(subject))
    kept: set[str] = set()
    for campaign, own in logs.items():
        if not any(own & logs[other] for other in kept):
            kept.add(campaign)
    return [subject for subject in subjects if subject.campaign_fit in kept]


def _ties(subjects: Sequence[Subject]) -> list[_Tie]:
    """What at least two campaigns have in common and at least one of them learned."""
    found: list[_Tie] = []
    for key, members in _common(subjects).items():
        kind, id_ = key
        spreads = PROPELLER_SPREAD if kind == "propeller" else _motor_scatter(members)
        for name, scatter in spreads.items():
            logs: dict[str, FloatArray] = {}
            best = 0.0
            for subject in members:
                values = _column(subject.draws, name, subject, id_ if kind == "propeller" else None)
                if values is None or not _near_lognormal(values):
                    continue
                prior = _column(subject.prior, name, subject, id_ if kind == "propeller" else None)
                best = max(best, 1.0 if prior is None else contraction(values, prior))
                logs[subject.campaign_fit] = np.log(values)
            if len(logs) > 1 and best >= LEARNED:
                found.append(_Tie(key, name, scatter, logs))
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


def _stack(
    ties: Sequence[_Tie], campaigns: Sequence[str]
) -> tuple[dict[str, FloatArray], dict[str, dict[int, int]]]:
    """The logarithms of each campaign as (S, its ties), and the column of each tie in it."""
    places: dict[str, dict[int, int]] = {c: {} for c in campaigns}
    columns: dict[str, list[FloatArray]] = {c: [] for c in campaigns}
    for index, tie in enumerate(ties):
        for campaign, values in tie.logs.items():
            places[campaign][index] = len(columns[campaign])
            columns[campaign].append(values)
    size = len(next(iter(ties[0].logs.values())))
    return {c: np.stack(v, axis=1) if v else np.zeros((size, 0)) for c, v in columns.items()}, places


def _equations(
    ties: Sequence[_Tie], campaigns: Sequence[str], places: Mapping[str, Mapping[int, int]]
) -> tuple[dict[str, FloatArray], FloatArray]:
    """The matrix of differences of each campaign, and the covariance of the scatter in them.

    A part in m campaigns gives m − 1 differences from the first; each campaign's own mounting scatters
    once, so those differences share the first one's.
    """
    rows = [(i, list(tie.logs)) for i, tie in enumerate(ties)]
    total = sum(len(where) - 1 for _, where in rows)
    H = {c: np.zeros((total, len(places[c]))) for c in campaigns}
    noise = np.zeros((total, total))
    line = 0
    for index, where in rows:
        first, others = where[0], where[1:]
        block = slice(line, line + len(others))
        noise[block, block] = ties[index].scatter ** 2 * (np.eye(len(others)) + 1.0)
        for other in others:
            H[first][line, places[first][index]] = 1.0
            H[other][line, places[other][index]] = -1.0
            line += 1
    return H, noise


def _moved(subject: Subject, common: FloatArray, pull: FloatArray) -> Subject:
    """Move every parameter of a subject by its regression on what is in common.

    ``common`` (S, K): centred logarithms of the ties of its campaign; ``pull`` (S, K): H' S⁻¹ (gap + δ).
    """
    if not common.shape[1]:
        return subject
    names, columns, shapes = [], [], []
    for name, array in subject.draws.items():
        values = array.reshape(array.shape[1], -1)
        for k in range(values.shape[1]):
            if _near_lognormal(values[:, k]):
                names.append((name, k))
                columns.append(np.log(values[:, k]))
                shapes.append(True)
            elif np.isfinite(values[:, k]).all() and (values[:, k] < 0.0).any():
                names.append((name, k))
                columns.append(values[:, k])
                shapes.append(False)
    X = np.stack(columns, axis=1)
    gain = (X - X.mean(axis=0)).T @ common / (len(X) - 1)  # (parameters, K)
    X = X - pull @ gain.T
    changed = {name: np.array(subject.draws[name]) for name, _ in names}
    for column, ((name, k), log) in enumerate(zip(names, shapes, strict=True)):
        flat = changed[name].reshape(changed[name].shape[1], -1)
        flat[:, k] = np.exp(X[:, column]) if log else X[:, column]
    return subject.with_draws(_consistent({**subject.draws, **changed}))


def _consistent(draws: dict[str, NDArray[Any]]) -> dict[str, NDArray[Any]]:
    """Work the no-load current out again: no logarithm makes it follow from the drag by itself."""
    parts = ("kv", "winding_resistance", "drag_current_static", "drag_current_slope")
    if "no_load_current" in draws and all(name in draws for name in parts):
        kv, resistance, i_0, i_1 = (draws[name] for name in parts)
        i_2 = draws.get("drag_current_windage", np.zeros_like(kv))
        draws["no_load_current"] = np.asarray(motor_physics.no_load_current(kv, resistance, i_0, i_1, i_2))
    return draws


def _near_lognormal(values: FloatArray) -> bool:
    """Positive, finite, and not piled up at zero as what may be absent is; such parameters stay."""
    if not (np.isfinite(values).all() and (values > 0.0).all()):
        return False
    logs = np.log(values)
    low, median, high = np.quantile(logs, (0.02, 0.5, 0.98))
    return bool(high > low and median - low < 3.0 * (high - median))


def _parts(ties: Sequence[_Tie]) -> str:
    parts = dict.fromkeys(tie.key for tie in ties)
    return ", ".join(f"{kind} {id_}" for kind, id_ in parts)


def _link_note(ties: Sequence[_Tie]) -> Note:
    return Note(
        "linked",
        f"{_parts(ties)} was tested in more than one campaign: what it says of both benches ties them, as "
        "far as mounting it again, or another copy of a propeller, leaves it the same.",
    )


def _disagreement(ties: Sequence[_Tie], mean: FloatArray, S: FloatArray, doubt: float) -> Note:
    scores = mean / np.sqrt(np.diag(S))
    lines = [tie for tie in ties for _ in range(len(tie.logs) - 1)]
    worst = int(np.argmax(np.abs(scores)))
    tie = lines[worst]
    return Note(
        "link-disagrees",
        f"{_parts(ties)} was tested in more than one campaign, and the campaigns contradict each other there "
        f"(probability of such a gap {doubt:.2g}): most in {tie.name} of {tie.key[1]}, "
        f"{100.0 * abs(np.expm1(mean[worst])):.1f} % apart. They are compared as independent; look for a "
        "wrong sensor setting, another unit under the same id, or damage.",
    )
