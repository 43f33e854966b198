"""The page of calibration, made from records and nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from motorfit.calibration.bench import MAIN
from motorfit.calibration.scenarios import SCENARIOS
from motorfit.calibration.summary import Predicted, Scored, Summary, summarise
from motorfit.report.calibration_figures import coverage_figure, ranks_figure
from motorfit.report.calibration_tables import held

__all__ = ["calibration_files", "write_files"]

_HEAD = """# Calibration

<!-- Made by `python -m benchmarks.calibration` from the records in docs/calibration/: change nothing. -->

Do intervals hold what they promise? Benches whose truth is known are simulated, fitted, and counted.
`motorfit calibrate` makes the same count anywhere; the records behind this page lie in
[calibration/](calibration/), a line a bench.

**How to read it.** *50, 90, 95 %* say how many central intervals hold the truth; `!` marks a count that the
doubt of a share of so many benches (95 %, Jeffreys) does not reconcile with the interval's probability. With
some hundred counts on this page a few marks are chance. *Mean z* should be 0, *mean |z|* 0.80; more says that
intervals are too narrow. *Width* is the standard deviation over the least that any method could reach with
these data and priors, by the model's derivatives at the truth; much above 1 is doubt that the data do not
leave. *Ranks* says whether the truth's rank among the draws is uniform: its distribution stays within a band
that holds all of it in 95 of 100 cases (Säilynoja and others, doi 10.1007/s11222-022-10090-6). Below ten
benches nothing is said of it. Only in `sbc` are truths drawn from the model's priors, so only there must
ranks be uniform (Talts and others, arXiv:1804.06788); elsewhere motors are more alike than the priors, so
that intervals which lean on a prior hold the truth too often. Of a prediction, *error* is how far its median
lies from the truth and *half width* that of its 90 % band, both relative to the truth, both medians over
benches and throttles from 0.2 to 1.

Benches of the same number share their seed in all scenarios, and often their stand: scenarios are not
independent tries, but what a missing sensor changes shows the more clearly. Parameters of one bench are not
independent of one another either.
"""


def calibration_files(records: Mapping[str, Sequence[Mapping[str, Any]]]) -> dict[str, str]:
    """The page and its figures, path below ``docs/`` -> text, from records by scenario."""
    summaries = [summarise(name, each) for name, each in records.items() if each]
    files = {"calibration/coverage.svg": coverage_figure(summaries, MAIN)}
    parts = [_HEAD, _origin(records), _wrong(summaries), "## Coverage by scenario\n"]
    parts.append("![Share of 90 % intervals that hold the truth](calibration/coverage.svg)\n")
    for summary in summaries:
        kind = SCENARIOS[summary.scenario]
        parts.append(_section(summary, kind.about))
        ranked = [one for one in summary.parameters if one.uniform is not None]
        if kind.ranks and ranked:
            files["calibration/ranks.svg"] = ranks_figure(ranked, "Ranks of the truth among the draws")
            parts.append(
                "Ranks, and below each the distance of their distribution from uniform:\n\n"
                "![Ranks of the truth among the draws](calibration/ranks.svg)\n"
            )
    files["calibration.md"] = "\n".join(parts)
    return files


def _origin(records: Mapping[str, Sequence[Mapping[str, Any]]]) -> str:
    every = [r for each in records.values() for r in each]

    def told(key: str) -> str:
        return "; ".join(sorted({str(r[key]) for r in every if key in r}))

    return (
        f"{len(every)} benches; motorfit {told('version')}; {told('date')}; {told('draws')} draws; "
        f"{told('machine')}.\n"
    )


def _wrong(summaries: Sequence[Summary]) -> str:
    """In words, from the counts: what does not hold."""
    said = []
    for s in summaries:
        off = [f"{o.name} ({held(o, 0.9).rstrip(' !')})" for o in s.parameters if _low(o)]
        bent = [o.name for o in s.parameters if o.uniform is False] if SCENARIOS[s.scenario].ranks else []
        missed = [f"{c.curve} at {c.condition} ({held(c, 0.9).rstrip(' !')})" for c in s.curves if _low(c)]
        if off:
            said.append(f"- **{s.scenario}**: 90 % intervals hold the truth too seldom for {', '.join(off)}.")
        if bent:
            said.append(f"- **{s.scenario}**: ranks are not uniform for {', '.join(bent)}.")
        if missed:
            said.append(f"- **{s.scenario}**: predicted bands are too narrow for {', '.join(missed)}.")
        if s.failed or s.unsound:
            said.append(
                f"- **{s.scenario}**: {s.failed} of {s.benches} benches refused, {s.unsound} with draws that "
                "the fit itself calls not sound; these count like the others."
            )
    lacking = [name for name in SCENARIOS if name not in {s.scenario for s in summaries}]
    if lacking:
        said.append(f"- Not made yet: {', '.join(lacking)}.")
    body = "\n".join(said) if said else "Nothing that these counts can show; few benches show little."
    return (
        f"## What is not right\n\n{body}\n\nAll of these benches come from our own simulator. What neither "
        "it nor the model knows is not tested here; [held-out runs](commands.md#holdout) test it on real "
        "logs.\n"
    )


def _low(one: Scored | Predicted) -> bool:
    return any(s.interval == 0.9 and not s.believed and s.held < 0.9 * s.of for s in one.shares)


def _section(s: Summary, about: str) -> str:
    paths = ", ".join(f"{path} {count}" for path, count in s.paths.items())
    wall = "" if s.median_wall_s is None else f" A fit took {s.median_wall_s:.1f} s (median)."
    chi2 = "" if s.chi2 is None else f" The truth's own χ² per residual: {s.chi2:.2f} (median)."
    lines = [
        f"### {s.scenario}\n",
        f"{about[0].upper()}{about[1:]}. {s.benches} benches ({paths}).{wall}{chi2}\n",
    ]
    if s.parameters:
        lines += ["| parameter | 50 % | 90 % | 95 % | mean z | mean \\|z\\| | width | ranks |"]
        lines += ["|---|---|---|---|---|---|---|---|", *(_row(one, one.name) for one in s.parameters)]
        lines += [_row(one, f"{one.name}, difference") for one in s.pairs]
        lines.append("")
    if s.curves:
        lines += ["| predicted | 50 % | 90 % | 95 % | error | half width |", "|---|---|---|---|---|---|"]
        lines += [
            f"| {c.condition}: {c.curve} | {_three(c)} | {_percent(c.error)} | {_percent(c.width)} |"
            for c in s.curves
        ]
        lines.append("")
    if s.odds:
        lines += ["| first motor greater in | Brier score | if probabilities are right |", "|---|---|---|"]
        lines += [f"| {o.name} | {o.brier:.4f} | {o.ideal:.4f} ± {o.sd:.4f} |" for o in s.odds]
        lines.append("")
    return "\n".join(lines)


def _percent(value: float | None) -> str:
    return "–" if value is None else f"{100.0 * value:.1f} %"


def _three(one: Scored | Predicted) -> str:
    return " | ".join(held(one, interval) for interval in (0.50, 0.90, 0.95))


def _row(one: Scored, name: str) -> str:
    ranks = "–" if one.uniform is None else "uniform" if one.uniform else "not uniform"
    width = "–" if one.width is None else f"{one.width:.2f}"
    return f"| {name} | {_three(one)} | {one.mean_z:+.2f} | {one.mean_abs_z:.2f} | {width} | {ranks} |"


def write_files(files: Mapping[str, str], docs: Path) -> None:
    """Write the files below a folder, each whole or not at all."""
    for name, text in files.items():
        path = docs / name
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(path.name + ".part")
        part.write_text(text, encoding="utf-8")
        part.replace(path)
