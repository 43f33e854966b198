"""Terminal table of candidate runs. Building it prints nothing: the caller's console does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from motorfit.answers.next_run import SAFETY
from motorfit.report.format import interval_texts, percent, shown
from motorfit.report.tables import plain_table

if TYPE_CHECKING:
    from motorfit.answers.next_run import NextRun


def next_table(answer: NextRun) -> Group:
    """Return the candidates, best first, below what is known now."""
    unit = shown(answer.quantity.split("[", 1)[0])
    table = plain_table(f"{answer.motor}: what a further run would leave of {answer.quantity}")
    table.add_column("run", overflow="fold")
    table.add_column(f"{percent(answer.interval)} interval, {unit.unit}", justify="right", no_wrap=True)
    table.add_column("width, of now", justify="right", no_wrap=True)
    rows = [("now", answer.low, answer.high, 1.0)]
    rows += [(e.candidate.text, e.low, e.high, e.width_ratio) for e in answer.candidates]
    for name, low, high, ratio in rows:
        _, least, most = interval_texts(answer.median, low, high, unit.factor)
        table.add_row(Text(name), f"{least} … {most}", f"{100.0 * ratio:.0f} %")
    caption = Text(
        "Expected widths about the present median: where an interval will lie nobody knows before the run.",
        style="dim",
    )
    parts = [Text(answer.sentence)]
    if not answer.sound:
        parts.append(Text("The draws of this fit did not pass their own checks.", style="yellow"))
    return Group(table, *parts, caption, Text(SAFETY, style="yellow"))
