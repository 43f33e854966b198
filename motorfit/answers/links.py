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

from motorfit.answers.notes import Note
from motorfit.answers.pairing import Subject
from motorfit.answers.posterior import FloatArray
from motorfit.answers.ties import Tie, near_lognormal, of_other_logs, ties_of, together
from motorfit.physics import motor as motor_physics

DISAGREE = 0.01
"""Probability below which what two campaigns say of the common part is a contradiction, not a scatter."""


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
    apart = of_other_logs(subjects)
    campaigns = list(dict.fromkeys(subject.campaign_fit for subject in apart))
    ties = ties_of(apart) if len(campaigns) > 1 else []
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
    return Linked(moved, (_link_note(ties),), together(ties))


def _stack(
    ties: Sequence[Tie], campaigns: Sequence[str]
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
    ties: Sequence[Tie], campaigns: Sequence[str], places: Mapping[str, Mapping[int, int]]
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
            if near_lognormal(values[:, k]):
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


def _parts(ties: Sequence[Tie]) -> str:
    parts = dict.fromkeys(tie.key for tie in ties)
    return ", ".join(f"{kind} {id_}" for kind, id_ in parts)


def _link_note(ties: Sequence[Tie]) -> Note:
    return Note(
        "linked",
        f"{_parts(ties)} was tested in more than one campaign: what it says of their benches ties them, "
        "as far as mounting it again, or another copy of a propeller, leaves it the same. Differences "
        "between these campaigns are narrower for it.",
    )


def _disagreement(ties: Sequence[Tie], mean: FloatArray, S: FloatArray, doubt: float) -> Note:
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
