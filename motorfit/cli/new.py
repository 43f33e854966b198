"""`motorfit new`: a commented campaign file for a folder of logs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motorfit.cli.options import AsJson
from motorfit.cli.output import print_json, say


def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of logs.", show_default=False)],
    as_json: AsJson = False,
) -> None:
    """Propose a campaign file for a folder of logs.

    Writes FOLDER/campaign.toml with columns, kinds and units as the logs show them. What it is unsure of
    ends in ??. An existing file is never touched.

    \b
    Example:  motorfit new day-3
              motorfit check day-3/campaign.toml
    """
    from motorfit.bench.propose import NoLogsError, propose

    if not folder.is_dir():
        raise NoLogsError(f"{folder} is not a folder. Name the folder that holds the logs of the day.")
    target = folder / "campaign.toml"
    if target.exists():
        raise NoLogsError(f"{target} exists already and is left as it is. Rename it, or edit it by hand.")
    proposal = propose(folder)
    _write_new(target, proposal.text)
    if as_json:
        print_json(
            {
                "campaign": str(target),
                "runs": proposal.runs,
                "unsure": list(proposal.unsure),
                "left_out": list(proposal.left_out),
            }
        )
        return
    print(f"{target}: {proposal.runs} run{'' if proposal.runs == 1 else 's'} proposed.")
    if proposal.unsure:
        print("Look at:")
        before = ""
        for place, line in zip(proposal.places, proposal.unsure, strict=True):
            if place != before:
                print(f"  {place}:")
            print(f"    {line}")
            before = place
    for line in proposal.left_out:
        say(f"not taken: {line}")
    say(f"Then: motorfit check {target}")


def _write_new(target: Path, text: str) -> None:
    """Write a file that must not exist yet, whole or not at all."""
    import os

    from motorfit.bench.propose import NoLogsError

    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        os.link(part, target)  # fails where somebody else was quicker
    except FileExistsError:
        raise NoLogsError(f"{target} exists already and is left as it is.") from None
    except OSError as error:
        raise NoLogsError(
            f"{target} cannot be written: {error.strerror}. A folder with write access is needed."
        ) from None
    finally:
        part.unlink(missing_ok=True)
