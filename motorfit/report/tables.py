"""Tables for the terminal. Building them prints nothing: the caller's console does."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from rich.console import Group
from rich.table import Table
from rich.text import Text

from motorfit.report.format import held, interval_texts, percent, shown
from motorfit.report.narrow import ByWidth, Name, PlainTable
from motorfit.report.remarks import not_learned_remarks

if TYPE_CHECKING:
    from motorfit.answers.predict import Prediction
    from motorfit.answers.show import MotorSummary, ParameterSummary
    from motorfit.bench.findings import Finding

# Those a reader of test results asks for first; the rest follows under its own heading.
HEADLINE = (
    "kv",
    "kt",
    "winding_resistance",
    "no_load_current",
    "rotor_inertia",
    "thrust_coefficient",
    "torque_coefficient",
    "figure_of_merit",
    "prop_inertia",
)
SAFETY = (
    "Spinning propellers and lithium packs hurt people. This is a prediction from a bench; it certifies "
    "nothing: stay within the makers' limits, and keep to local rules and licensed practice."
)
_SEVERITIES = {"error": ("error", "bold red"), "warning": ("warning", "yellow"), "note": ("note", "dim")}


def summary_table(summary: MotorSummary, *, everything: bool = True) -> Group:
    """Return a motor's parameters as a table; ``everything`` False keeps to the headline ones."""
    chosen = [p for p in summary.parameters if everything or p.name in HEADLINE]
    table = plain_table(f"{summary.motor}  ·  fit {summary.fit_id}" if summary.fit_id else summary.motor)
    table.add_column("parameter", overflow="fold")
    table.add_column("median", justify="right", no_wrap=True)
    table.add_column(f"{percent(summary.interval)} interval", justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    table.add_column("learned", justify="right", no_wrap=True)
    for p in chosen:
        table.add_row(*_parameter_row(p))
    return Group(table, *(Text(text, style="dim") for text in not_learned_remarks(summary)))


def _parameter_row(p: ParameterSummary) -> tuple[Name, str, str, str, Text]:
    unit = shown(p.name)
    median, low, high = interval_texts(p.median, p.low, p.high, unit.factor)
    learned = (
        Text(percent(p.contraction)) if p.learned else Text(f"no ({percent(p.contraction)})", style="yellow")
    )
    return Name(p.key), median, f"{low} … {high}", unit.unit, learned


def fit_table(summaries: Sequence[MotorSummary]) -> Table:
    """Return the motors of a campaign side by side: headline parameters, median and half-interval."""
    interval = percent(summaries[0].interval) if summaries else "90 %"
    table = plain_table(f"Posterior medians and {interval} intervals", keep=2)
    table.add_column("parameter", overflow="fold")
    table.add_column("unit", no_wrap=True)
    for summary in summaries:
        table.add_column(Text(summary.motor), justify="right", overflow="fold")
    by_key = [{p.key: p for p in summary.parameters} for summary in summaries]
    keys = dict.fromkeys(p.key for summary in summaries for p in summary.parameters if p.name in HEADLINE)
    for key in sorted(keys, key=lambda k: HEADLINE.index(k.partition("[")[0])):
        name = key.partition("[")[0]
        cells = [_cell(found.get(key)) for found in by_key]
        table.add_row(Name(key), shown(name).unit, *cells)
    return table


def _cell(p: ParameterSummary | None) -> Text:
    if p is None:
        return Text("–")
    unit = shown(p.name)
    median, low, high = interval_texts(p.median, p.low, p.high, unit.factor)
    text = Text(f"{median}\n{low} … {high}")
    if not p.learned:
        text.append("\nnot learned", style="yellow")
    return text


def prediction_table(prediction: Prediction) -> Group:
    """Return the main curves of a prediction as a table, its warnings above and a word of safety below."""
    curves, axis = prediction.curves, prediction.axis
    columns = [
        column
        for column in (
            ("throttle\n%", "throttle", 100.0),
            ("speed\nrpm", "speed_rpm", 1.0),
            ("thrust\nN", "thrust_n", 1.0),
            ("current\nA", "current_a", 1.0),
            ("power\nW", "electrical_power_w", 1.0),
            ("efficiency\n%", "motor_efficiency", 100.0),
            ("thrust/power\ng/W", "thrust_per_watt_g", 1.0),
            ("bus\nV", "bus_voltage_v", 1.0),
        )
        if column[1] in curves
    ]
    title = f"{prediction.motor} with {prediction.propeller} at {prediction.supply}"
    table = plain_table(title, keep=1)
    table.add_column(axis.text().replace(" [", "\n").replace("]", ""), justify="right", no_wrap=True)
    for heading, _, _ in columns:
        table.add_column(heading, justify="right", no_wrap=True)
    for k, point in enumerate(axis.points):
        cells = []
        for _, name, factor in columns:
            curve = curves[name]
            median, low, high = interval_texts(
                float(curve.median[k]), float(curve.low[k]), float(curve.high[k]), factor
            )
            cells.append(median if median == "–" else f"{median}\n{low} … {high}")
        table.add_row(f"{point:.4g}", *cells)
    caption = Text(f"Median above its {percent(prediction.interval)} interval.", style="dim")
    return Group(*cautions(prediction.warnings), table, caption, Text(SAFETY, style="yellow"))


def cautions(warnings: Iterable[Any]) -> list[Text]:
    """Return one line for each warning, its code first."""
    return [Text.assemble((f"caution ({w.code}): ", "bold yellow"), held(w.message)) for w in warnings]


def findings_table(findings: Sequence[Finding]) -> ByWidth:
    """Return what reading and checking found, errors first."""
    wide, narrow = plain_table("Findings"), plain_table("Findings")
    wide.add_column("severity", no_wrap=True)
    for heading in ("run", "channel", "where"):
        wide.add_column(heading, overflow="fold")
    # Places one below the other leave a narrow terminal's room to the sentences.
    narrow.add_column("where", overflow="fold")
    for table in (wide, narrow):
        table.add_column("what, and what to do", overflow="fold", ratio=1)
    for finding in sorted(findings, key=lambda f: list(_SEVERITIES).index(f.severity)):
        label, style = _SEVERITIES[finding.severity]
        message = Text.assemble(finding.message, (f"\n{finding.remedy}", "dim"))
        run, channel, where = finding.run, finding.channel or "", _where(finding)
        wide.add_row(Text(label, style=style), Text(run), Text(channel), where, message)
        below = "".join(f"\n{part}" for part in (run, channel, where) if part)
        narrow.add_row(Text.assemble((label, style), below), message)
    return ByWidth(110, wide, narrow)


def _where(finding: Finding) -> str:
    parts = []
    if finding.start_s is not None:
        end = finding.start_s if finding.end_s is None else finding.end_s
        parts.append(
            f"{finding.start_s:.2f} s" if end <= finding.start_s else f"{finding.start_s:.2f} to {end:.2f} s"
        )
    rows = finding.rows
    if rows:
        more = ", …" if len(rows) > 3 else ""
        parts.append(
            ("line " if len(rows) == 1 else "lines ") + ", ".join(str(row) for row in rows[:3]) + more
        )
    return "\n".join(parts)


def plain_table(title: str, *, keep: int = 0) -> PlainTable:
    """Return an empty table in the look of all of them, see `PlainTable` for ``keep``."""
    return PlainTable(title, keep=keep)
