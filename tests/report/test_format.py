from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.quantities import PARAMETERS
from motorfit.report.format import decimals, digits, interval_texts, percent, shown


@pytest.mark.parametrize(
    ("median", "low", "high", "texts"),
    [
        (1362.98, 1357.2, 1368.1, ("1363", "1357", "1368")),
        (1362.98, 1362.2, 1363.9, ("1363.0", "1362.2", "1363.9")),
        (0.0456, 0.0442, 0.0471, ("0.0456", "0.0442", "0.0471")),
        (18234.0, 16012.0, 20390.0, ("18200", "16000", "20400")),
        (-0.0612, -0.131, 0.012, ("−0.06", "−0.13", "0.01")),
        (0.0001, -0.0004, 0.0003, ("0.0001", "−0.0004", "0.0003")),
        (math.nan, math.nan, math.nan, ("–", "–", "–")),
        (5.0, 5.0, 5.0, ("5.000", "5.000", "5.000")),
        (3e-13, 2e-13, 4e-13, ("3e−13", "2e−13", "4e−13")),
    ],
)
def test_an_interval_earns_its_digits(
    median: float, low: float, high: float, texts: tuple[str, str, str]
) -> None:
    assert interval_texts(median, low, high) == texts


@given(st.floats(1e-6, 1e6))
def test_rounding_never_moves_an_end_by_more_than_a_quarter_of_the_half_width(half: float) -> None:
    assert 0.5 * 10.0 ** -decimals(half, 1.0) <= 0.25 * half


def test_zero_has_no_sign() -> None:
    assert digits(-0.0004, 2) == "0.00"


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.9, "90 %"), (0.9999, "99.9 %"), (0.994, "99.4 %"), (1.0, "100 %"), (-0.1, "0 %"), (None, "–")],
)
def test_a_share_never_rounds_up_to_certainty(share: float | None, text: str) -> None:
    assert percent(share) == text


def test_every_parameter_has_a_display_unit() -> None:
    for name, quantity in PARAMETERS.items():
        unit = shown(name)
        assert unit.factor > 0.0
        assert unit.unit != "1"
        assert (unit.unit == "") == (quantity.unit == "1")


def test_display_units_hold_the_same_quantity() -> None:
    from pint import UnitRegistry

    registry: UnitRegistry[float] = UnitRegistry()
    for name, quantity in PARAMETERS.items():
        unit = shown(name)
        if unit.unit in ("", quantity.unit) or quantity.unit in ("degC", "rpm/V"):
            continue
        text = unit.unit.replace("·", " * ").replace("²", "**2").replace("Ω", "ohm").replace("%", "percent")
        assert registry(f"1 {quantity.unit}").to(text).magnitude == pytest.approx(unit.factor), name
