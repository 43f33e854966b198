"""Nothing serious or critical by axe: every view, light and dark, on phone and desk, all of it unfolded."""

from __future__ import annotations

from pathlib import Path

import pytest

from .axe import grave, unfold
from .conftest import OpenTab, served

pytestmark = pytest.mark.slow

# Address, heading, and what stands there once the view has its answer.
VIEWS = (
    ("", "Motors", "[data-motor]"),
    ("motor/tern-2807", "tern-2807", "table.bars rect.prior"),
    (
        "what-if?motor=tern-2807&propeller=7x4x3&voltage=28",
        "What if",
        ".readout[data-answered] ~ .cautions .warning",
    ),
    (
        "what-if?motor=tern-2807&propeller=p7x35x3&cells=4&capacity_mah=1300",
        "What if",
        "[data-curve=bus_voltage_v]",
    ),
    (
        "compare?motors=tern-2807&motors=gull-2306&propeller=p7x35x3&voltage=15&go=1&w.max_thrust_n=1",
        "Compare",
        "[data-metric=score]",
    ),
    (
        "compare?motors=tern-2807&motors=gull-2306&propeller=p7x35x3&voltage=15&go=1&models=1&margin_pct=3"
        "&table=voltage%20%5BV%5D%2Cthrottle%20%5B%25%5D%2Cthrust%20%5BN%5D%0A15%2C50%2C3",
        "Compare",
        "[data-metric=kv]",
    ),
    ("compare?go=1&motors=nobody", "Compare", ".error"),
    ("campaign", "New campaign", "input[type=file]"),
    ("nowhere", "That did not work", ".error"),
)
SCREENS = [(width, look) for width in (390, 1280) for look in ("light", "dark")]


@pytest.mark.parametrize(("width", "look"), SCREENS)
def test_every_view(library: Path, open_tab: OpenTab, width: int, look: str) -> None:
    with served(library) as base:
        found = {}
        for view, heading, answered in VIEWS:
            tab = open_tab(base, width, look)
            tab.visit(view, heading)
            tab.page.locator(answered).first.wait_for()
            unfold(tab.page)
            found[view] = grave(tab.page)
    assert found == {view: [] for view, *_ in VIEWS}


def test_a_fault_would_be_found(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit("", "Motors")
        tab.page.evaluate("document.querySelector('main').append(document.createElement('button'))")
        assert ["button-name" in line for line in grave(tab.page)] == [True]
