"""The one table of names, symbols, units and meanings.

Everything inside is SI; where the trade's own unit is the natural one to report (``kv`` in rpm/V) the table
says so, and that unit is the one of stored draws, measurements and prior overrides. Conversion lives in
`motorfit.units`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Per = Literal["motor", "propeller", "flywheel", "controller", "channel"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One named physical quantity.

    Attributes
    ----------
    name: the name used in files, posteriors and JSON.
    symbol: the symbol used in formulas.
    unit: the unit of its values everywhere outside a conversion ("1" for a pure number).
    meaning: one line for a reader.
    per: what there is one of it for.
    positive: True where only values above zero make sense (its natural doubt is then a factor).
    """

    name: str
    symbol: str
    unit: str
    meaning: str
    per: Per
    positive: bool = True


_MOTOR = (
    Quantity("kv", "K_v", "rpm/V", "speed per volt of back-EMF at 25 degC", "motor"),
    Quantity("kt", "K_t", "N m/A", "torque per ampere of DC-equivalent motor current at 25 degC", "motor"),
    Quantity("kt_kv_ratio", "psi", "1", "K_t K_v 2 pi/60: 1 for the ideal machine", "motor"),
    Quantity(
        "winding_resistance", "R", "ohm", "DC-equivalent, at 25 degC, without controller and leads", "motor"
    ),
    Quantity(
        "drag_current_static",
        "i_0",
        "A",
        "part of the no-load current that does not depend on speed",
        "motor",
    ),
    Quantity("drag_current_slope", "i_1", "A s/rad", "eddy-current part of the no-load current", "motor"),
    Quantity("drag_current_windage", "i_2", "A s^2/rad^2", "windage part of the no-load current", "motor"),
    Quantity("no_load_current", "I_0", "A", "at equilibrium, unloaded, 10 V at the terminals", "motor"),
    Quantity(
        "rotor_inertia", "J_m", "kg m^2", "moment of inertia of everything that turns with the shaft", "motor"
    ),
    Quantity("saturation_current", "I_s", "A", "current at which the torque constant has halved", "motor"),
    Quantity(
        "braking_share", "b", "1", "share of the ideal braking current the controller lets flow", "motor"
    ),
    Quantity("winding_heat_capacity", "C_w", "J/K", "heat capacity of the winding", "motor"),
    Quantity("winding_time_constant", "tau_w", "s", "thermal time constant from winding to body", "motor"),
    Quantity("body_heat_capacity", "C_b", "J/K", "heat capacity of stator and bell", "motor"),
    Quantity("body_time_constant", "tau_b", "s", "thermal time constant from body to air", "motor"),
    Quantity(
        "magnet_temperature_coefficient",
        "alpha_m",
        "1/K",
        "relative loss of K_e per kelvin of magnet",
        "motor",
    ),
)
_PROPELLER = (
    Quantity("thrust_coefficient", "C_T", "1", "T/(rho n^2 D^4) at the reference speed, static", "propeller"),
    Quantity("torque_coefficient", "C_Q", "1", "Q/(rho n^2 D^5) at the reference speed, static", "propeller"),
    Quantity("figure_of_merit", "FM", "1", "sqrt(2/pi) C_T^1.5/C_P, below 1", "propeller"),
    Quantity(
        "thrust_reynolds_exponent", "a_T", "1", "C_T grows with (n/n_ref)^a_T", "propeller", positive=False
    ),
    Quantity(
        "torque_reynolds_exponent", "a_Q", "1", "C_Q grows with (n/n_ref)^a_Q", "propeller", positive=False
    ),
    Quantity("prop_inertia", "J_p", "kg m^2", "moment of inertia about the shaft", "propeller"),
)
_STAND = (
    Quantity(
        "flywheel_inertia", "J_f", "kg m^2", "moment of inertia about the flywheel's own shaft", "flywheel"
    ),
    Quantity(
        "controller_resistance",
        "R_c",
        "ohm",
        "controller and leads, in the path of the motor current",
        "controller",
    ),
    Quantity("duty_slope", "s", "1", "duty lost per throttle taken back, near full throttle", "controller"),
    Quantity("duty_curvature", "c", "1", "curvature of duty against throttle", "controller", positive=False),
    Quantity("duty_cubic", "e", "1", "cubic term of duty against throttle", "controller", positive=False),
    Quantity("controller_idle_current", "I_q", "A", "bus current of the controller alone", "controller"),
    Quantity("current_limit", "I_lim", "A", "motor current at which the controller holds", "controller"),
)
JUMPING = frozenset({"current", "torque", "motor_current", "motor_voltage"})
"""Channels that jump where the throttle is stepped; speed, and what hangs on it alone, cannot."""

_CHANNELS = (
    Quantity("throttle", "x", "1", "command to the controller, 0 to 1", "channel"),
    Quantity("voltage", "V_b", "V", "bus voltage, on the supply's side of the controller", "channel"),
    Quantity(
        "current",
        "I_b",
        "A",
        "bus current, on the supply's side of the controller",
        "channel",
        positive=False,
    ),
    Quantity("speed", "omega", "rad/s", "angular speed of the motor's shaft", "channel"),
    Quantity("thrust", "T", "N", "thrust of the propeller", "channel", positive=False),
    Quantity("torque", "Q", "N m", "reaction torque on the stand", "channel", positive=False),
    Quantity("motor_current", "I_m", "A", "DC-equivalent motor current", "channel", positive=False),
    Quantity(
        "motor_voltage",
        "V_m",
        "V",
        "DC-equivalent voltage at the motor's terminals",
        "channel",
        positive=False,
    ),
    Quantity("winding_temperature", "T_w", "degC", "temperature of the winding", "channel", positive=False),
)


def _nuisance() -> tuple[Quantity, ...]:
    rows: list[Quantity] = []
    for channel in _CHANNELS:
        if channel.name == "throttle":
            continue
        rows += [
            Quantity(
                f"gain_{channel.name}",
                f"g_{channel.symbol}",
                "1",
                f"reading per true {channel.name}",
                "channel",
            ),
            Quantity(
                f"offset_{channel.name}",
                f"o_{channel.symbol}",
                channel.unit,
                f"reading of {channel.name} at zero",
                "channel",
                positive=False,
            ),
            Quantity(
                f"delay_{channel.name}",
                f"d_{channel.symbol}",
                "s",
                f"how late {channel.name} arrives",
                "channel",
                positive=False,
            ),
            Quantity(
                f"lag_{channel.name}",
                f"l_{channel.symbol}",
                "s",
                f"first-order time constant of the {channel.name} sensor",
                "channel",
            ),
        ]
        if channel.name in JUMPING:
            rows.append(
                Quantity(
                    f"jump_{channel.name}",
                    f"j_{channel.symbol}",
                    "1",
                    f"how much later jumps of a late {channel.name} show, in sampling intervals",
                    "channel",
                    positive=False,
                )
            )
    return tuple(rows)


CHANNELS: Mapping[str, Quantity] = MappingProxyType({q.name: q for q in _CHANNELS})
"""Logged channels, by name; units are those of `motorfit.bench.logs.RunLog.channels`."""

PARAMETERS: Mapping[str, Quantity] = MappingProxyType(
    {q.name: q for q in (*_MOTOR, *_PROPELLER, *_STAND, *_nuisance())}
)
"""Everything that is learned or reported, by name."""
