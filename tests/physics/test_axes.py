"""Any axis leads back to the operating point it came from."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motorfit.physics.axes import AXES, Axis, speed_at, torque_at
from motorfit.physics.drive import Drive, Load
from motorfit.physics.steady import operating_points
from motorfit.physics.values import PhysicsError

LOAD = Load(
    thrust_coefficient=0.12, torque_coefficient=0.011, diameter=0.1778, density=1.2, thrust_exponent=0.06,
    torque_exponent=-0.08,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    throttle=st.floats(0.05, 1.0),
    voltage=st.floats(6.0, 50.0),
    source=st.floats(0.0, 0.05),
    saturation=st.floats(150.0, 1e4) | st.just(math.inf),
    idle=st.floats(0.0, 0.5),
)
def test_each_axis_leads_back(
    throttle: float, voltage: float, source: float, saturation: float, idle: float
) -> None:
    drive = Drive(
        k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.4, drag_slope=2e-4,
        controller_resistance=0.006, saturation_current=saturation, idle_current=idle,
        source_resistance=source,
    )  # fmt: skip
    o = operating_points(throttle, voltage, drive, LOAD)
    # beyond the current at which a source gives most, less current goes with more speed: not this root
    if (
        not o.turning[0, 0]
        or o.bus_voltage[0, 0] < 0.51 * voltage
        or o.motor_current[0, 0] > 0.9 * saturation
    ):
        return
    met: dict[Axis, float] = {
        "speed": o.speed[0, 0],
        "torque": o.torque[0, 0],
        "thrust": o.thrust[0, 0],
        "mechanical_power": o.mechanical_power[0, 0],
        "electrical_power": o.electrical_power[0, 0],
        "current": o.bus_current[0, 0],
    }
    assert set(met) == set(AXES)
    for axis, value in met.items():
        found = speed_at(axis, value, voltage, drive, LOAD)
        assert found[0, 0] == pytest.approx(o.speed[0, 0], rel=1e-6), axis
    thrust, torque = torque_at(o.speed, LOAD)
    assert thrust[0, 0] == pytest.approx(o.thrust[0, 0], rel=1e-12)
    assert torque[0, 0] == pytest.approx(o.torque[0, 0], rel=1e-12)


def test_what_a_source_cannot_give_has_no_speed() -> None:
    drive = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.4, source_resistance=0.1)
    found = speed_at("electrical_power", [100.0, 361.0], 12.0, drive, LOAD)  # 12²/(4·0.1) = 360 W at most
    assert np.isfinite(found[0, 0])
    assert np.isnan(found[0, 1])
    assert np.isnan(speed_at("electrical_power", [1e-4], 12.0, drive, LOAD)).all()  # less than friction takes


def test_draws_have_supplies_of_their_own() -> None:
    drive = Drive(k_e=np.array([0.0075, 0.0076]), k_t=0.0072, resistance=0.06, source_resistance=0.02)
    both = speed_at("electrical_power", [50.0, 100.0], np.array([12.0, 16.0]), drive, LOAD)
    for k, volts in enumerate((12.0, 16.0)):
        one = Drive(k_e=(0.0075, 0.0076)[k], k_t=0.0072, resistance=0.06, source_resistance=0.02)
        np.testing.assert_allclose(both[k], speed_at("electrical_power", [50.0, 100.0], volts, one, LOAD)[0])


def test_an_unknown_axis_is_refused() -> None:
    drive = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06)
    with pytest.raises(PhysicsError, match="axis is 'noise'; allowed are speed, torque"):
        speed_at("noise", [1.0], 12.0, drive, LOAD)  # type: ignore[arg-type]
    with pytest.raises(PhysicsError, match="thrust is -1 N"):
        speed_at("thrust", [-1.0], 12.0, drive, LOAD)
