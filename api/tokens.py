"""Tokens: who may read and who may write. Only hashes are kept.

A token is 256 random bits, so a plain SHA-256 of it cannot be searched; slow hashes are for passwords, which
people choose. The public part names the row, the secret part is compared in constant time.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from motorfit.errors import MotorfitError

from . import database
from .database import StateError

NAME = "tokens.sqlite"
Scope = Literal["read", "write"]
_FORM = re.compile(r"mf_([0-9a-f]{12})_([A-Za-z0-9_-]{43})")
_RECHECK_S = 1.0
_TABLE = """
CREATE TABLE IF NOT EXISTS tokens (
    id TEXT PRIMARY KEY, digest BLOB NOT NULL, scope TEXT NOT NULL, label TEXT NOT NULL, created TEXT NOT NULL
) WITHOUT ROWID
"""


@dataclass(frozen=True)
class Token:
    """What is known of a token: its public id, what it allows, and what it was made for."""

    id: str
    scope: Scope
    label: str
    created: str

    @property
    def writes(self) -> bool:
        """Whether it allows writing."""
        return self.scope == "write"


class TokenStore:
    """The tokens of one service, in a file only its owner may read."""

    def __init__(self, state: Path) -> None:
        self.path = state / NAME
        self._lock = threading.Lock()
        self._known: dict[str, tuple[bytes, Token]] = {}
        self._read_at = -1.0

    def create(self, scope: Scope, label: str = "") -> tuple[str, Token]:
        """Make a token; the text is returned this once and kept nowhere."""
        if scope not in ("read", "write"):
            raise MotorfitError(f"scope {scope!r}: allowed are read and write.")
        secret = secrets.token_urlsafe(32)
        token = Token(secrets.token_hex(6), scope, label, datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
        with self._open(make=True) as base, base:
            base.execute(
                "INSERT INTO tokens VALUES (?, ?, ?, ?, ?)",
                (token.id, _digest(secret), token.scope, token.label, token.created),
            )
        return f"mf_{token.id}_{secret}", token

    def list(self) -> tuple[Token, ...]:
        """Return all tokens, oldest first."""
        if not self.path.is_file():
            return ()
        with self._open() as base:
            rows = base.execute("SELECT id, scope, label, created FROM tokens ORDER BY created, id")
            return tuple(Token(*row) for row in rows)

    def revoke(self, id: str) -> None:
        """Take a token away; running services notice within a second.

        Raises
        ------
        MotorfitError
            There is no such token.
        """
        gone = 0
        if self.path.is_file():
            with self._open() as base, base:
                gone = base.execute("DELETE FROM tokens WHERE id = ?", (id,)).rowcount
        if not gone:
            raise MotorfitError(f"token {id!r}: there is none of that id. `motorfit token list` lists them.")

    def check(self, text: str) -> Token | None:
        """Return the token of a text, or None where it is none of ours."""
        match = _FORM.fullmatch(text)
        held = self._current().get(match[1]) if match else None
        # Compared in any case, so that the time taken says nothing about which ids there are.
        digest, token = held or (b"\0" * 32, None)
        same = hmac.compare_digest(digest, _digest(match[2] if match else ""))
        return token if same else None

    def _current(self) -> dict[str, tuple[bytes, Token]]:
        with self._lock:
            if time.monotonic() - self._read_at > _RECHECK_S:
                self._known = self._read()
                self._read_at = time.monotonic()
            return self._known

    def _read(self) -> dict[str, tuple[bytes, Token]]:
        if not self.path.is_file():
            return {}
        with self._open() as base:
            rows = base.execute("SELECT id, digest, scope, label, created FROM tokens")
            return {row[0]: (bytes(row[1]), Token(row[0], row[2], row[3], row[4])) for row in rows}

    @contextmanager
    def _open(self, *, make: bool = False) -> Iterator[sqlite3.Connection]:
        try:
            if make:
                database.made(self.path, _TABLE)
            with closing(sqlite3.connect(self.path, timeout=5.0)) as base:
                yield base
        except (OSError, sqlite3.Error) as error:
            raise StateError(
                f"{self.path}: the tokens cannot be used: {error}. Check access to it."
            ) from error


def _digest(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()
