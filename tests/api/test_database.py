"""A database that several processes find: with its tables, or not at all."""

from __future__ import annotations

import sqlite3
import stat
import threading
from contextlib import closing
from pathlib import Path

import pytest

from motorfit_api.database import made

SCHEMA = "PRAGMA journal_mode = WAL; CREATE TABLE a (x INTEGER); CREATE TABLE b (x INTEGER);"


def test_who_finds_the_file_finds_the_tables(tmp_path: Path) -> None:
    found: list[list[str]] = []
    for round in range(20):
        path = tmp_path / f"{round}" / "some.sqlite"

        def look(path: Path = path) -> None:
            while not path.is_file():
                pass
            with closing(sqlite3.connect(path)) as base:
                found.append([row[0] for row in base.execute("SELECT name FROM sqlite_master ORDER BY name")])

        threads = [
            threading.Thread(target=look),
            *(threading.Thread(target=made, args=(path, SCHEMA)) for _ in "12"),
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(10.0)
        assert [file.name for file in path.parent.iterdir() if file.name.startswith(".")] == []
    assert found == [["a", "b"]] * 20


def test_it_is_its_owners_alone_and_kept_when_made_again(tmp_path: Path) -> None:
    path = tmp_path / "some.sqlite"
    made(path, SCHEMA)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("INSERT INTO a VALUES (1)")
    made(path, SCHEMA)
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("SELECT x FROM a").fetchall() == [(1,)]
        assert base.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_schema_that_fails_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(sqlite3.Error):
        made(tmp_path / "some.sqlite", "CREATE TABLE a (x INTEGER); CREATE NONSENSE;")
    assert list(tmp_path.iterdir()) == []
