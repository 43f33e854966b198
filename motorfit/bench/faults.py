"""Faults of a campaign file: each with its key's path, its value, what is allowed and the remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from motorfit.errors import MotorfitError

MISSING = "(missing)"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a campaign file.

    Attributes
    ----------
    path: the key's path, such as ``runs[2].propeller`` (lists count from 0).
    value: the value as it would be written, or a remark in brackets such as "(missing)".
    allowed: what may stand there.
    remedy: how to mend it.
    """

    path: str
    value: str
    allowed: str
    remedy: str

    def __str__(self) -> str:
        remark = self.value.startswith("(") and self.value.endswith(")")
        head = f"{self.path}: {self.value[1:-1]}" if remark else f"{self.path} = {self.value}"
        return f"{head}; allowed: {self.allowed}. {self.remedy}"


class CampaignError(MotorfitError):
    """A campaign file cannot be used; `faults` holds every fault of it."""

    def __init__(self, path: Path, faults: Iterable[Fault]) -> None:
        self.path = path
        self.faults = tuple(faults)
        count = len(self.faults)
        head = f"{path}: {count} fault{'' if count == 1 else 's'} in the campaign file"
        super().__init__("\n".join([head, *(f"  - {fault}" for fault in self.faults)]))


def shown(value: object) -> str:
    """A value as the file would write it, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (str, Path)):
        text = f'"{value}"'
    elif isinstance(value, Mapping):
        text = "a table"
    elif isinstance(value, list):
        text = f"a list of {len(value)}"
    else:
        text = str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def nearest(word: object, choices: Iterable[str]) -> str | None:
    """The choice that `word` is most likely a slip of, or None."""
    if not isinstance(word, str):
        return None
    plain = {choice.casefold(): choice for choice in choices}
    found = difflib.get_close_matches(word.casefold(), list(plain), n=1, cutoff=0.6 if len(word) > 3 else 0.5)
    return plain[found[0]] if found else None


def listed(choices: Iterable[str], most: int = 12) -> str:
    """Choices in a row, for a message."""
    names = list(choices)
    if not names:
        return "none is declared"
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def suggestion(word: object, choices: Iterable[str], otherwise: str) -> str:
    """`Did you mean "x"?` where there is a near match, else `otherwise`."""
    near = nearest(word, choices)
    return otherwise if near is None else f'Did you mean "{near}"?'


def join(path: str, *parts: str | int) -> str:
    """A key's path, continued."""
    for part in parts:
        path += f"[{part}]" if isinstance(part, int) else (f".{part}" if path else part)
    return path
