"""What reading and checking a log has to say, one thing at a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from motorfit.errors import MotorfitError

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in one run.

    Attributes
    ----------
    run: id of the run.
    channel: the channel concerned, or None for the whole run.
    severity: "error" stops a fit, "warning" was handled but wants a look, "note" is for the record.
    kind: short stable name, such as "cut-last-line".
    message: what was found, with the values.
    remedy: what to do about it.
    start_s, end_s: time span [s from the first row], or None.
    rows: line numbers in the file (the first hundred), counted from 1, or None.
    """

    run: str
    channel: str | None
    severity: Severity
    kind: str
    message: str
    remedy: str
    start_s: float | None = None
    end_s: float | None = None
    rows: tuple[int, ...] | None = None

    def __str__(self) -> str:
        where = self.run if self.channel is None else f"{self.run}, {self.channel}"
        span = "" if self.start_s is None else f" from {self.start_s:.4g} s"
        if self.start_s is not None and self.end_s is not None and self.end_s > self.start_s:
            span += f" to {self.end_s:.4g} s"
        return f"{where}: {self.message}{span}. {self.remedy}"


MOST_ROWS = 100
"""A finding names at most this many rows; its message gives the count."""


def rows_text(rows: Sequence[int]) -> str:
    """`row 7`, `rows 7, 9, 12` or `rows 7, 8, 9 and 40 more`, for a message."""
    if len(rows) == 1:
        return f"row {rows[0]}"
    if len(rows) > 3 and rows[-1] - rows[0] == len(rows) - 1:
        return f"rows {rows[0]} to {rows[-1]}"
    shown = ", ".join(str(r) for r in rows[:5])
    return f"rows {shown}" if len(rows) <= 5 else f"rows {shown} and {len(rows) - 5} more"


class LogError(MotorfitError):
    """One or more logs cannot be used; `findings` holds every error of every log."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        count = len(self.findings)
        head = (
            "The logs have a fault that stops the fit:"
            if count == 1
            else f"The logs have {count} faults that stop the fit:"
        )
        super().__init__("\n".join([head, *(f"  - {finding}" for finding in self.findings)]))
