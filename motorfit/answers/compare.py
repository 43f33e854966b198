"""Is the difference real: any number of motors on any figure, with what they share taken out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from motorfit.answers.bands import band, check_interval
from motorfit.answers.claims import ClaimedTable
from motorfit.answers.compare_claims import claimed_figures, claimed_tables
from motorfit.answers.compare_notes import notes_on, together_elsewhere
from motorfit.answers.compare_setting import cautions_of, machines, settled_hover, stated
from motorfit.answers.comparison import Comparison, MetricAnswer
from motorfit.answers.differences import differences
from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike, campaign_air
from motorfit.answers.figures import Conditions, figures
from motorfit.answers.hierarchy import model_key, model_of
from motorfit.answers.links import linked
from motorfit.answers.machine import REFERENCE_C, LimitChoice
from motorfit.answers.metrics import Metric, chosen_metrics
from motorfit.answers.pairing import Subject, side_by_side
from motorfit.answers.posterior import FitLike, FloatArray
from motorfit.answers.propeller_stated import StatedPropeller
from motorfit.answers.propeller_tested import LibraryPropeller
from motorfit.answers.question import GRAVITY, check_throttle
from motorfit.answers.ranking import Score, dominance, rank_probabilities, score, weights_of

MAX_MOTORS = 100


def compare(
    fits: Sequence[FitLike],
    *,
    companions: Sequence[FitLike] = (),
    library_propellers: Sequence[LibraryPropeller] = (),
    propeller: str | StatedPropeller | None = None,
    voltage_v: float | None = None,
    metrics: Sequence[str] = (),
    margin: float | Mapping[str, float] | None = None,
    weights: Mapping[str, float] | None = None,
    claims: Mapping[str, float] | None = None,
    tables: Sequence[tuple[str, ClaimedTable]] = (),
    models: bool = False,
    air: AirLike | None = None,
    current_limit: LimitChoice = "bench",
    from_throttle: float = 0.1,
    to_throttle: float = 0.5,
    mass_g: float | None = None,
    motors: int = 1,
    winding_temperature_c: float = REFERENCE_C,
    magnet_temperature_c: float = REFERENCE_C,
    interval: float = 0.9,
) -> Comparison:
    """Compare motors, draw by draw.

    Parameters
    ----------
    fits :
        One fit a motor. Fits of one campaign share its bench and propellers row by row; others are
        independent, or tied by what was tested in both.
    companions :
        Further fits of the campaigns of ``fits``, of motors that were tested in several of them
        (`motorfit.answers.companions.companions`).
    library_propellers :
        Propellers tested in other campaigns of the library.
    propeller, voltage_v :
        The same for all: an id, ``DxPxB`` or a described propeller, and an ideal supply [V].
    metrics :
        Names as `motorfit.answers.metrics.metric_of` reads them; parameters and whatever propeller and
        voltage allow when left out.
    margin :
        Relative difference that matters, for all metrics or by name; each metric's own when left out.
    weights :
        By metric: asks for a score.
    claims :
        Claimed figures by metric, or by ``motor:metric``.
    tables :
        (motor, claimed table) pairs.
    models :
        True to answer for the motors' models: another unit of each, not the units tested.
    air :
        Of all motors; that of the first one's campaign when left out.
    current_limit, winding_temperature_c, magnet_temperature_c :
        As in `motorfit.answers.predict.predict`.
    from_throttle, to_throttle :
        Of the step behind rise_time_s and fall_time_s [1].
    mass_g, motors :
        All-up mass [g] and number of motors, for hover_power_w, which is that of all of them.
    interval :
        Probability inside every low..high.

    Raises
    ------
    AnswerError
        A question that cannot be asked of these fits.
    """
    check_interval(interval)
    _check(fits, motors, mass_g)
    check_throttle("from", from_throttle)
    check_throttle("to", to_throttle)
    has = {"propeller": propeller is not None, "voltage": voltage_v is not None}
    asked = chosen_metrics(tuple(metrics), **has)
    extra = tuple(name for name in weights or {} if name not in {m.name for m in asked})
    if extra:
        asked += chosen_metrics(extra, **has)
    by_name = {metric.name: metric for metric in asked}
    shares = _margins(margin, by_name)

    ties = linked(side_by_side([*fits, *companions]))
    everyone = ties.subjects
    tested = everyone[: len(fits)]
    groups = _groups(tested, models)
    joined = {name: model_of(group) for name, group in groups.items()} if models else {}
    subjects = tuple(joined[name].new_unit if models else group[0] for name, group in groups.items())

    around = campaign_air(fits[0]) if air is None else air
    conditions = Conditions(
        propeller=propeller.name if isinstance(propeller, StatedPropeller) else propeller,
        voltage_v=voltage_v,
        air=around,
        current_limit=current_limit,
        from_throttle=from_throttle,
        to_throttle=to_throttle,
        hover_thrust_n=None if mass_g is None else mass_g * 1e-3 * GRAVITY / motors,
        motors=motors,
        winding_temperature_c=winding_temperature_c,
        magnet_temperature_c=magnet_temperature_c,
    )
    built = machines(subjects, conditions, propeller, library_propellers)
    conditions, hover_notes = settled_hover(subjects, asked, conditions, built)
    names = tuple(groups)
    each = [figures(s, asked, conditions, m) for s, m in zip(subjects, built, strict=True)]
    values = {metric.name: np.stack([found[metric.name] for found in each]) for metric in asked}
    answers = tuple(_answer(m, names, values[m.name], interval, shares.get(m.name)) for m in asked)
    return Comparison(
        names=names,
        fits={name: tuple(s.fit_id for s in group) for name, group in groups.items()},
        interval=float(interval),
        conditions=stated(conditions, models),
        metrics=answers,
        score=_score(weights, by_name, values, names),
        dominance=dominance(values, asked, names),
        claims=claimed_figures(claims or {}, groups, subjects, joined, conditions, built, interval),
        tables=claimed_tables(tables, groups, subjects, joined, conditions, interval),
        notes=(
            *ties.notes,
            *notes_on(tested, around, air is not None, asked, propeller=conditions.propeller, tied=ties.tied),
            *together_elsewhere(tested, everyone[len(fits) :]),
            *hover_notes,
            *(note for model in joined.values() for note in model.notes),
        ),
        warnings=tuple(cautions_of(subjects, built)),
    )


def _check(fits: Sequence[FitLike], motors: int, mass_g: float | None) -> None:
    if not 1 <= len(fits) <= MAX_MOTORS:
        raise AnswerError("motors", len(fits), f"1 to {MAX_MOTORS} motors", "Name the motors to compare.")
    seen = set()
    for fit in fits:
        if fit.fit_id in seen:
            raise AnswerError("motors", fit.motor, "every motor once", "Name it once.")
        seen.add(fit.fit_id)
    if motors < 1:
        raise AnswerError("motors", motors, "1 or more", "Count the motors of the aircraft.")
    if mass_g is not None and not 0.0 < mass_g <= 1e6:
        raise AnswerError("mass_g", mass_g, "above 0 g", "Give the all-up mass of the aircraft.")


def _margins(margin: float | Mapping[str, float] | None, by_name: Mapping[str, Metric]) -> dict[str, float]:
    if margin is None:
        return {}
    given = margin if isinstance(margin, Mapping) else dict.fromkeys(by_name, margin)
    for name, share in given.items():
        if name not in by_name:
            raise AnswerError("margin", name, f"one of {', '.join(by_name)}", "Ask for that metric too.")
        if not 0.0 <= share < 1.0:
            raise AnswerError("margin", share, "a share from 0 to 1", "Two per cent is 0.02.")
    return {name: float(share) for name, share in given.items()}


def _groups(tested: Sequence[Subject], models: bool) -> dict[str, list[Subject]]:
    """Subjects by the name they answer under; one each unless models are asked for."""
    groups: dict[str, list[Subject]] = {}
    repeated = {s.motor for s in tested if sum(o.motor == s.motor for o in tested) > 1}
    for subject in tested:
        own = f"{subject.motor}@{subject.fit_id}" if subject.motor in repeated else subject.motor
        groups.setdefault(model_key(subject) if models else own, []).append(subject)
    return groups


def _answer(
    metric: Metric, names: tuple[str, ...], values: FloatArray, interval: float, margin: float | None
) -> MetricAnswer:
    found = band(values, interval)
    spreads = {
        n: (float(found.median[k]), float(found.low[k]), float(found.high[k])) for k, n in enumerate(names)
    }
    ranks = rank_probabilities(values, metric.better)
    return MetricAnswer(
        metric if margin is None else replace(metric, margin=margin),
        spreads,
        differences(metric, names, values, interval, margin),
        {name: tuple(ranks[k].tolist()) for k, name in enumerate(names)},
    )


def _score(
    weights: Mapping[str, float] | None,
    by_name: Mapping[str, Metric],
    values: Mapping[str, FloatArray],
    names: tuple[str, ...],
) -> Score | None:
    if not weights or len(names) < 2:
        return None
    shares = weights_of(weights, by_name)
    for metric in shares:
        for name, draws in zip(names, values[metric], strict=True):
            if not np.isfinite(draws).any():
                raise AnswerError(
                    "weights",
                    metric,
                    "metrics that every motor has",
                    f"There is no {metric} of {name}: leave it out.",
                )
    return score(values, by_name, shares, names)
