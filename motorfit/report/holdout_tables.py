"""Terminal tables of holdout. Building them prints nothing: the caller's console does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from motorfit.report.tables import plain_table

if TYPE_CHECKING:
    from motorfit.answers.channelscore import ChannelScore
    from motorfit.answers.holdout import HeldOut, Holdout


def holdout_table(answer: Holdout) -> Group:
    """Return every refit's scores by channel, and below them what they mean."""
    table = plain_table("Runs predicted by a fit of the others")
    for heading in ("left out", "channel"):
        table.add_column(heading, overflow="fold")
    for heading in ("blocks", "in 50 %", "in 90 %", "expected", "error", "CRPS", "expected"):
        table.add_column(heading, justify="right", overflow="fold")
    for held in answer.held:
        for k, score in enumerate(held.channels):
            name = held.left_out.value if k == 0 else ""
            table.add_row(Text(name), *_cells(score))
        if held.problem is not None:
            table.add_row(Text(held.left_out.value), Text(held.problem, style="yellow"))
    if len(answer.held) > 1:
        table.add_section()
        for k, score in enumerate(answer.channels):
            table.add_row(Text("all" if k == 0 else "", style="bold"), *_cells(score))
    notes: list[RenderableType] = [Text(note, style="yellow") for note in _notes(answer)]
    sentences = [Text(score.sentence) for score in answer.channels]
    caption = Text(
        "Blocks hang together, as through one sensor's gain: the independent blocks that weigh as much stand "
        "in brackets, and expected is the range of shares that the prediction itself allows. A CRPS above "
        "the expected one: bands too narrow; below: too wide.",
        style="dim",
    )
    return Group(table, *notes, *sentences, caption)


def _cells(score: ChannelScore) -> tuple[Text, ...]:
    half, wide = score.coverage
    colour = "" if wide.expected else "yellow"
    error = "–" if score.relative_error != score.relative_error else f"{100.0 * score.relative_error:.2f} %"
    return (
        Text(score.channel),
        Text(f"{score.blocks} ({wide.effective:.0f})"),
        Text(f"{100.0 * half.share:.0f} %"),
        Text(f"{100.0 * wide.share:.0f} %", style=colour),
        Text(f"{100.0 * wide.low:.0f}…{100.0 * wide.high:.0f} %"),
        Text(error),
        Text(f"{score.crps:.3g}"),
        Text(f"{score.crps_expected:.3g} {score.unit}"),
    )


def _notes(answer: Holdout) -> list[str]:
    said: dict[str, None] = {}
    for held in answer.held:
        for run in held.runs:
            for note in run.notes:
                said[f"{run.run}: {note}"] = None
        if not held.sound and held.problem is None:
            said[_unsound(held)] = None
    return list(said)


def _unsound(held: HeldOut) -> str:
    return f"Without {held.left_out.value} the draws of the refit did not pass their own checks."
