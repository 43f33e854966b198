"""The page of faults names every kind that a reader or a detector can give."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "faults.md").read_text(encoding="utf-8")


def _kinds() -> set[str]:
    """Second or fourth argument of what makes findings, and the keys of the table of odd lines."""
    kinds: set[str] = set()
    for file in (ROOT / "motorfit" / "bench").glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            place = {"Remark": 1, "remark_rows": 1, "Finding": 3, "UnreadableLogError": 0}.get(node.func.id)
            if place is None or len(node.args) <= place:
                continue
            kind = node.args[place]
            if isinstance(kind, ast.Constant) and isinstance(kind.value, str):
                kinds.add(kind.value)
    return kinds


def test_every_kind_is_on_the_page() -> None:
    from motorfit.bench.oddlines import _KINDS

    kinds = _kinds() | set(_KINDS)
    assert len(kinds) > 50
    assert sorted(kind for kind in kinds if f"`{kind}`" not in PAGE) == []
