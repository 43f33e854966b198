"""What terminals of eighty columns need: tables that split rather than cut, ids that break where they may."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.measure import Measurement
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

_PIECE = re.compile(r"[^_\[]*_|\[?[^_\[]+|\[")


@dataclass(frozen=True)
class Name:
    """An id or a parameter's key; where room is short it breaks after _ and before [, not within a word."""

    text: str

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Measurement(max(map(len, self._pieces()), default=0), len(self.text))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text("\n".join(self._lines(options.max_width)), overflow="fold")

    def _pieces(self) -> list[str]:
        return _PIECE.findall(self.text)

    def _lines(self, width: int) -> list[str]:
        lines = [""]
        for piece in self._pieces():
            if lines[-1] and len(lines[-1]) + len(piece) > width:
                lines.append("")
            lines[-1] += piece
        return lines


@dataclass(frozen=True)
class ByWidth:
    """One form for a console of at least so many columns, another for narrower ones."""

    columns: int
    wide: RenderableType
    narrow: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield self.wide if options.max_width >= self.columns else self.narrow


class PlainTable(Table):
    """A table in the look of all of them.

    With ``keep`` above 0, one that is too wide is printed as several, one below the other, each with the
    first ``keep`` columns: a number is never cut.
    """

    def __init__(self, title: str, *, keep: int = 0) -> None:
        super().__init__(
            title=Text(title, style="bold"), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False
        )
        self.keep = keep

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        parts = self._parts(console, options) if self.keep else [range(len(self.columns))]
        if len(parts) == 1:
            yield from super().__rich_console__(console, options)
            return
        for k, part in enumerate(parts):
            yield self._of(part, with_title=k == 0)
            if k + 1 < len(parts):
                yield Segment.line()

    def _parts(self, console: Console, options: ConsoleOptions) -> list[Sequence[int]]:
        """Columns of each table: as many as fit beside the kept ones, at least one."""
        first = list(range(self.keep))
        parts = [list(first)]
        room = options.max_width + sum(self._give(console, options, column) for column in first)
        for index in range(self.keep, len(self.columns)):
            one = [*parts[-1], index]
            width = self._of(one, with_title=False).__rich_measure__(console, options.update(width=10_000))
            if width.maximum > room and len(parts[-1]) > len(first):
                parts.append([*first, index])
            else:
                parts[-1] = one
        return list(parts)

    def _give(self, console: Console, options: ConsoleOptions, index: int) -> int:
        """How much narrower a column can become by breaking its cells where they may."""
        column = self.columns[index]
        cells = [Measurement.get(console, options, cell) for cell in column.cells]
        if column.no_wrap or not cells:
            return 0
        return max(cell.maximum for cell in cells) - max(cell.minimum for cell in cells)

    def _of(self, columns: Sequence[int], *, with_title: bool) -> Table:
        table = PlainTable("")
        table.title = self.title if with_title else None
        table.columns = [replace(self.columns[c], _index=k) for k, c in enumerate(columns)]
        table.rows = self.rows
        return table
