"""What axe says of a page: rules of accessibility, run in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

GRAVE = ("serious", "critical")


def script() -> str:
    """Return the script, from the package that carries it."""
    package: Any = pytest.importorskip(
        "axe_playwright_python", reason="axe-playwright-python is not installed"
    )
    return (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


def unfold(page: Any) -> None:
    """Open whatever is folded, so that it is looked at too, and let what that draws be drawn."""
    page.evaluate(
        "document.querySelectorAll('main details, header details').forEach((d) => { d.open = true; })"
    )
    page.wait_for_load_state("networkidle")
    page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done, 300)))")


def grave(page: Any) -> list[str]:
    """Return what is serious or critical, a line for each rule with where and why."""
    page.evaluate(script())
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    assert found["passes"], "axe looked at nothing"
    return [
        f"{rule['impact']} {rule['id']}: {rule['nodes'][0]['target']} {rule['nodes'][0]['failureSummary']}"
        for rule in found["violations"]
        if rule["impact"] in GRAVE
    ]
