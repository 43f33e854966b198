"""Terminal tables of a fit's diagnostics. Building them prints nothing: the caller's console does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from motorfit.report.tables import plain_table

_AXES = {
    "speed": "speed, rad/s",
    "time": "share of the run",
    "winding_temperature": "winding as modelled, °C",
    "direction": "direction of sweep",
}
_TURNS = {-1.0: "slowing down", 0.0: "steady", 1.0: "speeding up"}
_SHOWN_MOVES, _SHOWN_PARTS = 8, 10
_FAR, _STRONG, _K = 3.0, 0.3, 0.7


def diagnosis_tables(motor: str, diagnostics: Mapping[str, Any]) -> Group:
    """Return what the diagnostics say, and tables of directions, sensitivity, runs and misfit behind it."""
    parts: list[RenderableType] = [Text(f"{motor}: what the diagnostics mean", style="bold")]
    parts += [Text(f"- {sentence}") for sentence in diagnostics.get("sentences", ())]
    if directions := diagnostics.get("directions"):
        parts.append(_directions(directions))
    if sensitivity := diagnostics.get("sensitivity"):
        parts.append(_sensitivity(sensitivity))
    if runs := diagnostics.get("runs"):
        parts.append(_runs(runs))
    if misfit := diagnostics.get("misfit"):
        parts.append(_misfit(misfit))
    if "sensitivity" not in diagnostics:
        parts.append(
            Text(
                "This fit was stored without sensitivity, runs and misfit; fit the campaign again for them.",
                style="yellow",
            )
        )
    return Group(*parts)


def _directions(directions: Mapping[str, Any]) -> RenderableType:
    table = plain_table("Combinations known best and least, against their priors")
    table.add_column("width / prior", justify="right", no_wrap=True)
    table.add_column("combination (weights on standardised coordinates)", overflow="fold")
    for kind in ("best_known", "least_known"):
        for one in directions.get(kind, ()):
            told = ", ".join(f"{weight:+.2f} {name}" for name, weight in one["combination"].items())
            table.add_row(f"{one['sd_over_prior']:.3g}", Text(told))
        table.add_section()
    return table


def _sensitivity(sensitivity: Mapping[str, Any]) -> RenderableType:
    low, high = sensitivity["machine_priors"]["powers"]
    table = plain_table(f"Shift of the mean, in standard deviations, from power {low:g} to {high:g} of")
    table.add_column("parameter", overflow="fold")
    heads = {"machine_priors": "priors of machines", "sensor_priors": "priors of sensors", "data": "data"}
    for heading in heads.values():
        table.add_column(heading, justify="right")
    moves = {part: sensitivity[part]["moves"] for part in heads}

    def most(name: str) -> float:
        return max(abs(float(moves[part][name]["shift_sd"])) for part in ("machine_priors", "sensor_priors"))

    for name in sorted(moves["machine_priors"], key=most, reverse=True)[:_SHOWN_MOVES]:
        cells = []
        for part in heads:
            shift = moves[part][name]["shift_sd"]
            strong = part != "data" and abs(shift) > _STRONG
            cells.append(Text(f"{shift:+.2f}", style="yellow" if strong else ""))
        table.add_row(Text(name), *cells)
    return table


def _runs(runs: Sequence[Mapping[str, Any]]) -> RenderableType:
    table = plain_table("Runs: what they weigh, and how well they are described")
    for heading, justify in (("run", "left"), ("misfit", "right"), ("Pareto k", "right")):
        table.add_column(heading, justify="right" if justify == "right" else "left", overflow="fold")
    table.add_column("without it", overflow="fold")
    for run in runs:
        k = run["pareto_k"]
        moved = run.get("moves")
        told = (
            "only a refit can tell: holdout --run"
            if moved is None
            else f"{moved['of']} moves by {moved['shift_sd']:+.2f} standard deviations, all others by less"
        )
        style = "yellow" if k is None or k > _K else ""
        table.add_row(
            Text(run["run"]),
            f"{run['misfit']:.2f}",
            Text("–" if k is None else f"{k:.2f}", style=style),
            Text(told),
        )
    return table


def _misfit(misfit: Sequence[Mapping[str, Any]]) -> RenderableType:
    table = plain_table("Where readings and the posterior's replicas differ most")
    for heading in ("channel", "where"):
        table.add_column(heading, overflow="fold")
    for heading in ("blocks", "off, % of full scale", "deviations"):
        table.add_column(heading, justify="right")
    for one in sorted(misfit, key=lambda m: -abs(m["deviations"]))[:_SHOWN_PARTS]:
        turns = one["axis"] == "direction"
        where = _TURNS[one["low"]] if turns else f"{one['low']:.4g} to {one['high']:.4g}"
        table.add_row(
            one["channel"], f"{_AXES[one['axis']]}: {where}", str(one["blocks"]),
            f"{100.0 * one['off']:+.2g}",
            Text(f"{one['deviations']:+.1f}", style="yellow" if abs(one["deviations"]) > _FAR else ""),
        )  # fmt: skip
    return table
