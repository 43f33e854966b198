"""Discharge against an integration in time, and settled heat against its balance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from motorfit.physics.drive import Drive
from motorfit.physics.endurance import Cooling, charge_nodes, discharge, settled_temperatures
from motorfit.physics.pack import Pack

PACK = Pack(4, 1500.0, 0.006)
MOTORS = 4
DRIVE = Drive(
    k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.4, drag_slope=2e-4, controller_resistance=0.006,
    idle_current=0.05, source_resistance=MOTORS * float(PACK.resistance()),
)  # fmt: skip
OMEGA, TORQUE = 900.0, 0.05


def _time_by_integration(capacity: float, empty: float) -> float:
    """Seconds from full to `empty`, with the pack's current from its power balance at every moment."""
    current = TORQUE / 0.0072 + 0.4 + 2e-4 * OMEGA
    power = current * (0.0075 * OMEGA + 0.066 * current)

    def drop(_t: float, y: NDArray[np.float64]) -> list[float]:
        # n motors ask for their power and idle current at the bus voltage V: V (I/n - I_q) = P
        e, r = float(PACK.open_circuit_voltage(y[0])), float(PACK.resistance())
        n = MOTORS
        volts = 0.5 * (e - r * n * 0.05 + math.sqrt((e - r * n * 0.05) ** 2 - 4.0 * r * n * power))
        return [-n * (power / volts + 0.05) / capacity]

    done = solve_ivp(
        drop, (0.0, 5000.0), [1.0], rtol=1e-9, atol=1e-12, max_step=1.0, events=lambda _t, y: y[0] - empty
    )
    return float(done.t_events[0][0])


def test_flight_time_is_the_integral_of_the_current() -> None:
    charges = charge_nodes(1.0, 0.2)
    volts = np.asarray(PACK.open_circuit_voltage(charges))[np.newaxis]
    got = discharge(OMEGA, TORQUE, DRIVE, charges, volts, 5400.0, MOTORS)
    assert got.held[0]
    assert got.end_charge[0] == pytest.approx(0.2)
    assert got.time[0] == pytest.approx(_time_by_integration(5400.0, 0.2), rel=1e-5)


def test_the_nodes_hold_the_corners() -> None:
    nodes = charge_nodes(0.95, 0.25)
    assert nodes[0] == 0.95
    assert nodes[-1] == 0.25
    assert (np.diff(nodes) < 0.0).all()
    for corner in (0.9, 0.8, 0.5, 0.3):
        assert np.isclose(nodes, corner).any()


def test_a_pack_that_sags_too_far_ends_the_flight_early() -> None:
    charges = charge_nodes(1.0, 0.05, between=40)
    volts = np.asarray(PACK.open_circuit_voltage(charges))[np.newaxis]
    omega = 1800.0
    got = discharge(omega, TORQUE, DRIVE, charges, volts, 5400.0, MOTORS)
    assert not got.held[0]
    end = got.end_charge[0]
    assert 0.06 < end < 0.95
    # at that charge full duty is just enough: V_b is what the motor asks for
    current = TORQUE / 0.0072 + 0.4 + 2e-4 * omega
    ask = 0.0075 * omega + 0.066 * current
    give = float(PACK.open_circuit_voltage(end)) - float(PACK.resistance()) * MOTORS * (current + 0.05)
    assert give == pytest.approx(ask, abs=5e-3)
    never = discharge(2500.0, TORQUE, DRIVE, charges, volts, 5400.0, MOTORS)
    assert never.time[0] == 0.0
    assert never.end_charge[0] == 1.0


def test_settled_temperatures_stand_still_in_their_balance() -> None:
    cooling = Cooling(winding=1.2, body=3.0, magnet_loss=0.0011, air_c=20.0)
    winding, body, current = (float(a[0]) for a in settled_temperatures(OMEGA, TORQUE, DRIVE, cooling))
    k_t = 0.0072 * (1.0 - 0.0011 * (body - 25.0))
    assert current == pytest.approx(TORQUE / k_t + 0.4 + 2e-4 * OMEGA, rel=1e-6)
    copper = current**2 * 0.06 * (1.0 + 0.00393 * (winding - 25.0))
    iron = k_t * (0.4 + 2e-4 * OMEGA) * OMEGA
    assert body == pytest.approx(20.0 + 3.0 * (copper + iron), abs=1e-4)
    assert winding == pytest.approx(body + 1.2 * copper, abs=1e-4)


def test_heat_that_feeds_itself_has_no_end() -> None:
    cooling = Cooling(winding=5.0, body=30.0, magnet_loss=0.0011, air_c=20.0)
    winding, _, _ = settled_temperatures(OMEGA, 4 * TORQUE, DRIVE, cooling)
    assert winding[0] == math.inf


def test_a_torque_beyond_saturation_has_no_temperature_and_spoils_no_other() -> None:
    soft = Drive(k_e=0.0075, k_t=0.0072, resistance=0.06, drag_static=0.4, saturation_current=40.0)
    cooling = Cooling(winding=0.3, body=0.5, magnet_loss=0.0011, air_c=20.0)
    most = 0.0072 * 40.0 / 2.0  # about: K_t I/(1+(I/I_s)²) is greatest at I_s
    torque = np.array([0.2, 0.99, 1.5]) * most
    winding, body, current = settled_temperatures(np.full(3, OMEGA), torque, soft, cooling)
    alone = settled_temperatures(OMEGA, torque[0], soft, cooling)
    np.testing.assert_allclose([winding[0], body[0], current[0]], np.ravel(alone), rtol=1e-6)
    assert winding[1] == math.inf  # possible when cold, not with warm magnets
    assert np.isnan([winding[2], body[2], current[2]]).all()
