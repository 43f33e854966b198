"""The tables and the page of `prediction_calibration`: median errors, coverage of bands, their widths."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.stats import binom

Array = npt.NDArray[np.float64]
Groups = dict[str, dict[str, dict[str, Array]]]

INTRO = """\
# Predictions, counted

Written by `python -m benchmarks.prediction_calibration --page`; change that, not this.

Simulated benches of two motors and two propellers, everything on them drawn anew: nominal, and rich (heating,
saturation, a curved duty map, idle draw, Reynolds exponents, windage). The first motor meets both propellers,
the second only one: the other is predicted on a motor it was never on. Voltages (11 to 20 V; runs with a
propeller are made at 23.6 V), throttles, packs and masses of the questions are drawn too. Truth is worked out
from the simulator's own equations of motion (`benchmarks/prediction_truth.py`), not by what predicts.

`error` is that of the median, relative to the truth, in the middle of the benches. `inside` is how many of a
hundred true values lie in the 90 % and in the 50 % band: of {benches} benches a right 90 % band is counted at
{low} to {high} in 95 of 100 rows, and a right 50 % band at {less} to {more}. Figures of one bench share its
sensors, so that whole columns lean to one side together. `90 % band` is its middle half width."""


def groups(records: Sequence[dict[str, Any]]) -> Groups:
    """Answers by what was asked, figure and throttle: (benches, 6) of truth, 90 %, median, 50 %."""
    by: dict[str, dict[str, dict[str, list[list[float]]]]] = {}
    for record in records:
        for asked, parts in record.get("found", {}).items():
            for at, row in parts.items():
                for name, numbers in row.items():
                    by.setdefault(asked, {}).setdefault(name, {}).setdefault(at, []).append(numbers)
    return {
        asked: {name: {at: np.array(rows) for at, rows in ats.items()} for name, ats in names.items()}
        for asked, names in by.items()
    }


def counted(v: Array) -> str:
    """Error of the median, share inside 90 % and 50 % [%], and half the 90 % band, relative to the truth."""
    true, low, high, median, first, third = v.T
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.where(median == true, 0.0, np.abs(median / true - 1.0))
        wide = 0.5 * np.abs((high - low) / true)
    # what runs away has no end to be off by, and an endless band no width
    error, width = (100.0 * float(np.median(np.where(np.isnan(x), np.inf, x))) for x in (off, wide))
    inside, half = (
        100.0 * float(np.mean((true >= a) & (true <= b))) for a, b in ((low, high), (first, third))
    )
    text = "no end" if not np.isfinite(width) else f"± {width:.2g} %"
    return f"{error:.2g} % | {inside:.0f}, {half:.0f} | {text}"


def table(records: Sequence[dict[str, Any]]) -> list[str]:
    """Lines of Markdown: a table for each question."""
    failed = sum("failed" in record for record in records)
    lines = [f"{len(records)} benches, {failed} of them refused by the fit."]
    for asked, names in groups(records).items():
        along = any(at for ats in names.values() for at in ats)
        first = "| figure | throttle |" if along else "| figure |"
        lines += ["", f"### {asked[:1].upper()}{asked[1:]}", ""]
        lines += [f"{first} error | inside 90 %, 50 % | 90 % band |", "|---" * (5 if along else 4) + "|"]
        for name, ats in names.items():
            for at, v in ats.items():
                lines.append(f"| `{name}` | {f'{at} | ' if along else ''}{counted(v)} |")
    return lines


def page(records: Sequence[dict[str, Any]]) -> str:
    """The whole page."""
    kinds = list(dict.fromkeys(str(record["kind"]) for record in records))
    benches = min(sum(record["kind"] == kind for record in records) for kind in kinds)
    edges = [
        round(100.0 * float(binom.ppf(q, benches, p)) / benches) for p in (0.9, 0.5) for q in (0.025, 0.975)
    ]
    named = dict(zip(("low", "high", "less", "more"), edges, strict=True))
    parts = [INTRO.format(benches=benches, **named)]
    for kind in kinds:
        mine = [record for record in records if record["kind"] == kind]
        parts += [f"## Benches of kind {kind}", "\n".join(table(mine))]
    return "\n\n".join(parts) + "\n"
