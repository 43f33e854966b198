"""What leaves a command: answers on standard output, everything else on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

Progress = Callable[[str, float], None]


def print_json(document: Any) -> None:
    """Print one JSON document; a number that JSON does not have is the caller's fault, not printed as NaN."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2)
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def print_table(*renderables: RenderableType) -> None:
    """Print rich renderables on standard output."""
    console = _console(sys.stdout)
    for renderable in renderables:
        console.print(renderable)


def say(message: str) -> None:
    """Tell the person something that is not the answer."""
    print(message, file=sys.stderr, flush=True)


@contextmanager
def progress_of(title: str) -> Iterator[Progress]:
    """Yield ``report(stage, share)``, share 0 to 1: a bar on a terminal, else a line a stage, on stderr."""
    if not sys.stderr.isatty():
        yield _stage_lines(title)
        return
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with Bars(*columns, console=_console(sys.stderr), transient=True) as bars:
        task = bars.add_task(title, total=1.0)

        def report(stage: str, share: float) -> None:
            bars.update(task, description=f"{title}: {stage}", completed=min(max(share, 0.0), 1.0))

        yield report


def _stage_lines(title: str) -> Progress:
    last = ""

    def report(stage: str, share: float) -> None:
        nonlocal last
        if stage != last:
            last = stage
            say(f"{title}: {stage} ({100 * min(max(share, 0.0), 1.0):.0f} %)")

    return report


def _console(stream: Any) -> Console:
    from rich.console import Console

    # A file or a pipe has no width of its own; eighty columns would cut long ids.
    return Console(file=stream, width=None if stream.isatty() else 120, highlight=False, soft_wrap=False)
