"""Tokens on the command line."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import Run


def test_a_token_is_shown_once_listed_and_revoked(run: Run, tmp_path: Path) -> None:
    place = ("--library", tmp_path)
    made = json.loads(run("token", "create", "--scope", "write", "--label", "bench", "--json", *place).out)
    listed = run("token", "list", "--json", *place).out
    assert [(t["id"], t["scope"], t["label"]) for t in json.loads(listed)["tokens"]] == [
        (made["id"], "write", "bench")
    ]
    assert made["token"] not in listed
    assert made["id"] in run("token", "list", *place).out
    assert run("token", "revoke", made["id"], *place).code == 0
    again = run("token", "revoke", made["id"], *place)
    assert again.code == 1
    assert "there is none of that id" in again.err
    assert "There is no token." in run("token", "list", *place).err


def test_a_public_address_needs_one(run: Run, tmp_path: Path) -> None:
    ran = run("serve", "--host", "0.0.0.0", "--library", tmp_path)
    assert ran.code == 1
    assert "motorfit token create --scope write" in ran.err


def test_an_unknown_scope_is_wrong_usage(run: Run, tmp_path: Path) -> None:
    assert run("token", "create", "--scope", "all", "--library", tmp_path).code == 2
