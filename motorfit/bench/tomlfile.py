"""From a path to the tables of a TOML file, or to one message about why not."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from motorfit.bench.faults import CampaignError, Fault, listed, shown

_LARGEST_FILE = 4_000_000


def content_of(path: Path) -> bytes:
    """The bytes of a campaign file; raises `CampaignError` where it cannot be read."""
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise CampaignError(
                path,
                [
                    Fault(
                        "file",
                        f"{path.stat().st_size} bytes",
                        "a TOML file below 4 MB",
                        "Give the campaign file, not a log.",
                    )
                ],
            )
        return path.read_bytes()
    except FileNotFoundError:
        remedy = "Check the path; a campaign file usually ends in .toml."
    except IsADirectoryError:
        inside = sorted(p.name for p in path.glob("*.toml"))
        remedy = f"This is a folder; give a file in it: {listed(inside)}." if inside else "This is a folder."
    except OSError as error:
        remedy = f"The system says: {error.strerror}."
    raise CampaignError(path, [Fault("file", shown(path), "a TOML file that can be read", remedy)])


def parse_toml(path: Path, content: bytes) -> dict[str, Any]:
    """The tables of a campaign file; raises `CampaignError` where it is not TOML."""
    try:
        return tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        fault = Fault(
            "file", f"(byte {error.start} is not UTF-8)", "TOML in UTF-8", "Save the file as UTF-8."
        )
    except tomllib.TOMLDecodeError as error:
        fault = Fault(
            "file",
            f"({error})",
            "TOML, as in docs/campaign.md",
            "Look at that line: text needs quotes, a key stands once, tables are [x], lists of tables [[x]].",
        )
    raise CampaignError(path, [fault])
