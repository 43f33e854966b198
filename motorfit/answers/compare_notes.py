"""What motors of a comparison share, what they do not, and what was assumed for all of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from typing import Any

from motorfit.answers.errors import AnswerError
from motorfit.answers.facts import AirLike, campaign_air, propeller_facts
from motorfit.answers.figures import label_kv, mass_g
from motorfit.answers.metrics import Metric
from motorfit.answers.notes import Note
from motorfit.answers.pairing import Subject, logs_of


def notes_on(
    tested: Sequence[Subject],
    air: AirLike,
    stated: bool,
    asked: Sequence[Metric],
    *,
    propeller: str | None,
    tied: Sequence[frozenset[str]],
) -> list[Note]:
    """Return the notes on pairing, benches, air, masses and soundness.

    Parameters
    ----------
    tested : the motors' fits, side by side
    air : the one used for all;  stated : whether the user chose it
    asked : metrics
    propeller : its name, None where none is stated
    tied : groups of campaigns that were linked
    """
    notes = [*_pairing(tested, tied), *_air(tested, air, stated, asked), *_gaps(tested, asked)]
    notes += _shapes(tested, propeller)
    weak = [s.motor for s in tested if _diagnostic(s, "sound") is False]
    if weak:
        notes.append(
            Note(
                "fit-not-sound",
                f"The fit of {', '.join(weak)} says itself that its draws are not sound; so are its "
                "differences. "
                "Look at the diagnostics that show prints.",
                tuple(weak),
            )
        )
    return notes


def _pairing(tested: Sequence[Subject], tied: Sequence[frozenset[str]]) -> list[Note]:
    campaigns: dict[str, list[Subject]] = {}
    for subject in tested:
        campaigns.setdefault(subject.campaign_fit, []).append(subject)
    notes = []
    for members in campaigns.values():
        if len(members) > 1:
            names = tuple(s.motor for s in members)
            notes.append(
                Note(
                    "paired",
                    f"{', '.join(names)} were fitted together: their differences are taken draw by draw, "
                    "and what bench and propellers put on all of them alike falls out.",
                    names,
                )
            )
    if len(campaigns) < 2:
        return notes
    firsts = [members[0] for members in campaigns.values()]
    groups = {next((group for group in tied if name in group), frozenset({name})) for name in campaigns}
    if len(groups) > 1:
        notes.append(
            Note(
                "independent-campaigns",
                f"{_listed(groups, campaigns)} were tested in campaigns that share nothing: "
                "their differences carry the calibration doubt of both benches. Testing one motor or "
                "propeller in both would narrow them.",
                tuple(s.motor for s in firsts),
            )
        )
    benches = [str(s.attributes.get("bench", "")) for s in firsts]
    if benches[0] and len(set(benches)) == 1:
        notes.append(
            Note(
                "same-bench",
                f"{'Both' if len(benches) == 2 else 'All'} campaigns name the bench {benches[0]}: its "
                "sensors' errors may be the same on each day. They are taken as independent, which is wide "
                "rather than narrow.",
            )
        )
    logs = [logs_of(s) for s in firsts]
    if any(own & other for own, other in combinations(logs, 2)):
        notes.append(
            Note(
                "same-logs",
                "Two of the fits rest on the same logs but were made apart, so they are not paired, and what "
                "they have in common ties nothing. Compare motors of one fit: leave the fit ids out, or name "
                "those of one campaign fit.",
            )
        )
    return notes


def _listed(groups: Iterable[frozenset[str]], campaigns: Mapping[str, Sequence[Subject]]) -> str:
    """Motors, those of tied campaigns together: ``tern, gull | skua``, in the order asked."""
    order = list(campaigns)
    names = [
        ", ".join(s.motor for name, members in campaigns.items() if name in group for s in members)
        for group in sorted(groups, key=lambda group: min(order.index(n) for n in group if n in campaigns))
    ]
    return " and ".join(f"[{text}]" if "," in text else text for text in names)


def together_elsewhere(tested: Sequence[Subject], companions: Sequence[Subject]) -> list[Note]:
    """Say where motors of different campaigns have one campaign in common after all: paired is sharper."""
    if len({s.campaign_fit for s in tested}) < 2:
        return []
    holders: dict[str, dict[str, str]] = {}
    for subject in (*tested, *companions):
        holders.setdefault(subject.campaign_fit, {})[subject.motor] = subject.fit_id
    wanted = {s.motor for s in tested}
    for campaign, fits in holders.items():
        if wanted == {s.motor for s in tested if s.campaign_fit == campaign}:
            return []  # further fits beside it are mountings that were asked for
        if len(wanted) > 1 and wanted <= fits.keys():
            named = " ".join(f"--fit {fits[motor]}" for motor in sorted(wanted))
            text = f"All of these motors were also fitted together; that comparison is sharper: {named}."
            return [Note("fitted-together-elsewhere", text, tuple(sorted(wanted)))]
    return []


def _air(tested: Sequence[Subject], air: AirLike, stated: bool, asked: Sequence[Metric]) -> list[Note]:
    if not any(metric.need == "propeller" for metric in asked):
        return []
    different = set()
    for subject in tested:
        try:
            own = campaign_air(subject)
        except AnswerError:
            continue
        different.add((own.temperature_c, own.pressure_hpa, own.humidity_pct))
    if len(different) < 2 and not stated:
        return []
    origin = "as stated" if stated else f"that of the campaign of {tested[0].motor}"
    text = (
        f"All motors are compared in one air, {origin}: {air.temperature_c:g} °C, {air.pressure_hpa:g} hPa, "
        f"{air.humidity_pct:g} %. Each campaign's coefficients were learned in its own air; what is left "
        "is the "
        "doubt of its sensors, not the weather."
    )
    return [Note("common-air", text)]


def _shapes(tested: Sequence[Subject], propeller: str | None) -> list[Note]:
    """Say where one id names propellers of two sizes: the first one stands for all."""
    holders = [s for s in tested if propeller is not None and propeller in s.propellers]
    sizes = {s.motor: propeller_facts(s, str(propeller)) for s in holders}
    shown = {m: f"{f.diameter_m / 0.0254:.3g} inch, {f.blades} blades" for m, f in sizes.items()}
    if len(set(shown.values())) < 2:
        return []
    listed = "; ".join(f"{text} for {motor}" for motor, text in shown.items())
    text = f"{propeller} names different propellers ({listed}); that of {holders[0].motor} is taken for all."
    return [Note("propeller-differs", text, tuple(shown))]


def _gaps(tested: Sequence[Subject], asked: Sequence[Metric]) -> list[Note]:
    notes = []
    heavy = tuple(s.motor for s in tested if mass_g(s) is None)
    if heavy and any(metric.per_gram for metric in asked):
        text = f"No mass is stated for {', '.join(heavy)}: nothing per gram. Add mass_g and fit again."
        notes.append(Note("no-mass", text, heavy))
    bare = tuple(s.motor for s in tested if label_kv(s) is None)
    if bare and any(metric.base == "kv_over_label" for metric in asked):
        notes.append(
            Note("no-label", f"No label_kv is stated for {', '.join(bare)}: add it and fit again.", bare)
        )
    return notes


def _diagnostic(subject: Subject, name: str) -> Any:
    found = subject.attributes.get("diagnostics")
    return found.get(name) if isinstance(found, dict) else None
