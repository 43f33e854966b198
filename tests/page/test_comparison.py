"""What the comparison can be asked, and what it shows of the answer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from motorfit.archive.store import save_fit
from tests.answers.standin import make_fit
from tests.archive.factory import StandInResult
from tests.cli.conftest import stand_in_posteriors
from tests.page.conftest import OpenTab, served

TABLE = "voltage [V]; throttle [%]; thrust [g]; current [A]\n22,2; 50; 480; 4,0\n22,2; 75; 1050; \n"
BOTH = [("motors", "tern-2807"), ("motors", "gull-2306"), ("propeller", "p7x35x3"), ("voltage", "22.2")]


def test_margin_models_figures_and_claims_are_asked_and_kept_in_the_address(
    library: Path, open_tab: OpenTab, tmp_path: Path
) -> None:
    claims = tmp_path / "claims.csv"
    claims.write_text(TABLE, encoding="utf-8")
    with served(library) as base:
        tab = open_tab(base)
        page = tab.page
        tab.visit(f"compare?{urlencode(BOTH)}", "Compare")
        page.get_by_text("What counts as a difference").click()
        page.get_by_label("A difference matters from [%]").fill("90")
        page.get_by_label("Figures, by name").fill("kv, thrust_n@throttle=0.5")
        page.get_by_label("of the models").check()
        page.get_by_label("Claimed figures").fill("gull-2306:thrust_n@throttle=0.5=3")
        page.get_by_label("From a file").set_input_files([claims])
        page.get_by_role("button", name="Compare", exact=True).click()
        page.locator("[data-metric='thrust_n@throttle=0.5']").wait_for()
        for _ in range(2):  # as asked, and from the address alone
            cards = page.locator("[data-metric]")
            assert {cards.nth(k).get_attribute("data-metric") for k in range(cards.count())} == {
                "kv", "thrust_n@throttle=0.5",
            }  # fmt: skip
            assert "margin of 90" in page.locator("[data-metric=kv]").inner_text()
            assert "Of another unit of each model" in page.locator("main").inner_text()
            assert page.get_by_text("from the claimed 3 N").count() == 1
            assert page.get_by_text("the maker's table: thrust as claimed").count() == 1
            page.get_by_text("Rows of the maker's table").click()
            cells = page.locator("[aria-label^='Rows of'] tbody tr").nth(1).locator("td")
            assert [cells.nth(k).inner_text() for k in (0, 3)] == ["10.30", "–"]
            page.reload()
            page.locator("[data-metric=kv]").wait_for()


def test_what_cannot_be_read_of_claims_is_said(library: Path, open_tab: OpenTab) -> None:
    bad = (
        ("claim", "fast", "write FIGURE=NUMBER"),
        ("claim", "nobody:kv=1", "nobody:kv"),
        ("table", "voltage [V], throttle [%], thrust\n1,2,3", "it says no unit"),
        ("table", "voltage [V], throttle [%], thrust [bar]\n1,2,3", "is no unit of thrust"),
        ("table", "throttle [%], thrust [g]\n1,2", "a column of voltage is missing"),
        ("table", "voltage [V], throttle [%], thrust [g]\n22, much, 3", "“much” is no number"),
        ("table", "voltage [V], throttle [%]\n22, 50", "a claimed column"),
        ("metric", "speed_of_light", "speed_of_light"),
    )
    with served(library) as base:
        tab = open_tab(base)
        for name, text, said in bad:
            tab.visit(f"compare?{urlencode([*BOTH, (name, text), ('go', '1')])}", "Compare")
            alert = tab.page.get_by_role("alert")
            assert said in alert.inner_text(), (name, text)
            # What was entered stands in the form, to be mended.
            field = {"claim": "Claimed figures", "table": "Claimed table", "metric": "Figures, by name"}[name]
            assert tab.page.get_by_label(field).input_value() == text


def test_who_is_beaten_in_everything_is_said(library: Path, open_tab: OpenTab) -> None:
    with served(library) as base:
        tab = open_tab(base)
        tab.visit(f"compare?{urlencode([*BOTH, ('go', '1')])}", "Compare")
        card = tab.page.locator("[data-metric=dominance]")
        assert card.get_by_role("heading", name="Beaten in everything?").count() == 1
        text = " ".join(card.inner_text().split())
        assert (
            "tern-2807" in text and "gull-2306" in text and "Judged by" in text and "peak efficiency" in text
        )


def test_many_motors_are_told_of_together(tmp_path: Path, open_tab: OpenTab) -> None:
    names = [f"motor-{k}" for k in range(6)]
    posteriors = tuple(
        replace(stand_in_posteriors()[0], motor=name, draws=make_fit(k, name).draws)
        for k, name in enumerate(names)
    )
    result: Any = StandInResult(None, posteriors)
    save_fit(tmp_path / "many", result)
    with served(tmp_path / "many") as base:
        tab = open_tab(base)
        ask = [("motors", name) for name in names] + [
            ("propeller", "p7x35x3"),
            ("voltage", "30"),
            ("go", "1"),
        ]
        tab.visit(f"compare?{urlencode(ask)}", "Compare")
        assert tab.page.get_by_role("heading", name="6 motors on p7x35x3 at 30 V").count() == 1
        # What holds for all of them is told once, with the others named.
        said = tab.page.locator(".notes .warning").all_inner_texts()
        assert 0 < len(said) < len(names)
        assert any(f"Likewise {', '.join(names[1:])}, each by its own figures." in text for text in said)


def test_without_motors_there_is_nothing_to_fill_in(tmp_path: Path, open_tab: OpenTab) -> None:
    with served(tmp_path / "empty") as base:
        tab = open_tab(base)
        tab.visit("compare", "Compare")
        assert tab.page.get_by_text("There is no motor yet").count() == 1
        assert tab.page.locator("main form").count() == 0
