from __future__ import annotations

import pytest

from motorfit.quantities import CHANNELS, PARAMETERS, Quantity


def test_channels_and_their_units() -> None:
    assert {name: q.unit for name, q in CHANNELS.items()} == {
        "throttle": "1",
        "voltage": "V",
        "current": "A",
        "speed": "rad/s",
        "thrust": "N",
        "torque": "N m",
        "motor_current": "A",
        "motor_voltage": "V",
        "winding_temperature": "degC",
    }


@pytest.mark.parametrize(
    ("name", "symbol", "unit", "per"),
    [
        ("kv", "K_v", "rpm/V", "motor"),
        ("kt", "K_t", "N m/A", "motor"),
        ("winding_resistance", "R", "ohm", "motor"),
        ("no_load_current", "I_0", "A", "motor"),
        ("rotor_inertia", "J_m", "kg m^2", "motor"),
        ("thrust_coefficient", "C_T", "1", "propeller"),
        ("torque_coefficient", "C_Q", "1", "propeller"),
        ("prop_inertia", "J_p", "kg m^2", "propeller"),
        ("flywheel_inertia", "J_f", "kg m^2", "flywheel"),
        ("controller_resistance", "R_c", "ohm", "controller"),
    ],
)
def test_the_names_that_files_and_answers_use(name: str, symbol: str, unit: str, per: str) -> None:
    q = PARAMETERS[name]
    assert (q.symbol, q.unit, q.per) == (symbol, unit, per)


def test_every_sensor_has_its_nuisance() -> None:
    for channel, quantity in CHANNELS.items():
        for kind, unit in (("gain", "1"), ("offset", quantity.unit), ("delay", "s"), ("lag", "s")):
            name = f"{kind}_{channel}"
            assert (name in PARAMETERS) == (channel != "throttle")
            if name in PARAMETERS:
                assert PARAMETERS[name].unit == unit and PARAMETERS[name].per == "channel"


def test_symbols_are_told_apart() -> None:
    symbols = [q.symbol for q in PARAMETERS.values()]
    assert sorted({s for s in symbols if symbols.count(s) > 1}) == []


def test_the_table_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        PARAMETERS["kv"] = PARAMETERS["kt"]  # type: ignore[index]
    with pytest.raises(AttributeError):
        PARAMETERS["kv"].unit = "1"  # type: ignore[misc]
    assert isinstance(PARAMETERS["kv"], Quantity)
