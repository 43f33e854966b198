from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.quantities import CHANNELS, PARAMETERS
from motorfit.units import _TABLE, EXAMPLES, UnitError, channel_conversion, parameter_conversion

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry(case_sensitive=False)


@pytest.mark.parametrize(
    ("channel", "unit", "value", "inside"),
    [
        ("speed", "rpm", 60.0, 2 * math.pi),
        ("speed", "RPM", 60.0, 2 * math.pi),
        ("speed", "rev/s", 1.0, 2 * math.pi),
        ("speed", "Hz", 1.0, 2 * math.pi),
        ("speed", "rad/s", 3.0, 3.0),
        ("speed", "deg/s", 180.0, math.pi),
        ("speed", "turn/minute", 60.0, 2 * math.pi),
        ("thrust", "gf", 1000.0, 9.80665),
        ("thrust", "g", 1000.0, 9.80665),
        ("thrust", "kgf", 1.0, 9.80665),
        ("thrust", "ozf", 16.0, 4.4482216152605),
        ("thrust", "pond", 1000.0, 9.80665),
        ("torque", "N m", 1.0, 1.0),
        ("torque", "N·m", 1.0, 1.0),
        ("torque", "N*m", 1.0, 1.0),
        ("torque", "mNm", 1.0, 1e-3),
        ("torque", "N.cm", 1.0, 1e-2),
        ("torque", "gf cm", 1.0, 9.80665e-5),
        ("torque", "ozf in", 1.0, 0.00706155181422604),
        ("torque", "dyne cm", 1e7, 1.0),
        ("throttle", "%", 25.0, 0.25),
        ("throttle", "us", 1250.0, 0.25),
        ("throttle", "µs", 1250.0, 0.25),
        ("throttle", "1", 0.25, 0.25),
        ("voltage", "mV", 5.0, 0.005),
        ("voltage", "kV", 1.0, 1000.0),
        ("current", "mA", 5.0, 0.005),
        ("winding_temperature", "°C", 25.0, 25.0),
        ("winding_temperature", "K", 298.15, 25.0),
        ("winding_temperature", "degF", 77.0, 25.0),
        ("time", "ms", 5.0, 0.005),
        ("time", "hour", 1.0, 3600.0),
    ],
)
def test_channel_units(channel: str, unit: str, value: float, inside: float) -> None:
    c = channel_conversion(channel, unit)
    assert c.factor * value + c.offset == pytest.approx(inside, rel=1e-12, abs=1e-12)


def test_erpm_is_divided_by_pole_pairs() -> None:
    assert channel_conversion("speed", "eRPM", 7).factor == pytest.approx(2 * math.pi / 60 / 7)
    with pytest.raises(UnitError, match="pole_pairs"):
        channel_conversion("speed", "erpm")


@pytest.mark.parametrize(
    ("channel", "unit"),
    [
        ("speed", "1/s"),
        ("speed", "V"),
        ("thrust", "N m"),
        ("thrust", "zork"),
        ("current", "V"),
        ("torque", "g"),
        ("voltage", "__import__('os')"),
        ("time", "m"),
        ("thrust", "N**9999999"),
    ],
)
def test_wrong_units_say_what_is_allowed(channel: str, unit: str) -> None:
    with pytest.raises(UnitError, match="allowed for") as caught:
        channel_conversion(channel, unit)
    assert EXAMPLES[channel] in str(caught.value)


@pytest.mark.parametrize(
    ("name", "unit", "value", "inside"),
    [
        ("kv", "rpm/V", 920.0, 920.0),
        ("kv", "rad/s/V", 100.0, 954.929658551372),
        ("winding_resistance", "mΩ", 61.0, 0.061),
        ("kt", "mN m/A", 7.0, 0.007),
        ("rotor_inertia", "g cm²", 40.0, 4e-6),
        ("drag_current_slope", "A s/rad", 1e-4, 1e-4),
        ("thrust_coefficient", "1", 0.1, 0.1),
        ("gain_voltage", "percent", 101.0, 1.01),
        ("delay_speed", "ms", 5.0, 0.005),
        ("offset_speed", "rpm", 60.0, 2 * math.pi),
        ("offset_winding_temperature", "degC", 1.0, 1.0),
    ],
)
def test_parameter_units(name: str, unit: str, value: float, inside: float) -> None:
    c = parameter_conversion(name, unit)
    assert c.factor * value + c.offset == pytest.approx(inside, rel=1e-12)


def test_parameter_of_the_wrong_kind() -> None:
    with pytest.raises(UnitError, match="ohm"):
        parameter_conversion("winding_resistance", "V")


@given(st.sampled_from([(c, u) for c, units in _TABLE.items() for u in units]))
def test_the_table_agrees_with_pint(entry: tuple[str, str]) -> None:
    """Where the unit library reads a unit of the table in the same sense, it gives the same factor."""
    channel, unit = entry
    trade = {"throttle", "winding_temperature"}
    other_sense = {
        "g",
        "gram",
        "grams",
        "kg",
        "oz",
        "lb",
        "lbs",
        "hz",
        "1/min",
        "r/s",
        "r/min",
        "rps",
        "krpm",
    }
    if channel in trade or unit in other_sense or channel == "torque":
        return
    target = "second" if channel == "time" else CHANNELS[channel].unit
    try:
        expected = REGISTRY.Quantity(1.0, unit).to(target).magnitude
    except (pint.UndefinedUnitError, pint.DimensionalityError, AttributeError):
        return
    if unit in {"mv", "ma", "mn", "ms"}:  # case decides between milli and mega there
        return
    assert channel_conversion(channel, unit).factor == pytest.approx(float(expected), rel=1e-9)


def test_every_quantity_has_a_unit_that_pint_reads() -> None:
    for name, quantity in PARAMETERS.items():
        assert quantity.name == name
        assert parameter_conversion(name, quantity.unit).factor == 1.0
        assert quantity.meaning and quantity.symbol


def test_common_units_do_not_load_the_unit_library() -> None:
    code = (
        "import sys; from motorfit.units import channel_conversion as c;"
        "[c(*p) for p in (('speed','rpm'),('thrust','gf'),('torque','N m'),('time','ms'))];"
        "sys.exit('pint' in sys.modules or 'numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
