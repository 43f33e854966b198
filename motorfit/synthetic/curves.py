"""What untested conditions would really give: the yardstick for predictions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorfit.physics.drive import Drive, Load
from motorfit.physics.motor import back_emf_constant
from motorfit.physics.steady import operating_points
from motorfit.synthetic.integrate import excess_current
from motorfit.synthetic.stand import Stand
from motorfit.synthetic.truth import TrueCurve, TrueMotor, TruePropeller

THROTTLE = (0.2, 0.4, 0.6, 0.8, 1.0)


def true_curve(
    motor: TrueMotor,
    propeller: TruePropeller,
    voltage_v: float,
    stand: Stand,
    density: float,
    condition: str,
    throttle: Sequence[float] = THROTTLE,
    *,
    excess_loss: float = 0.0,
) -> TrueCurve:
    """Steady values at throttles [1] from an ideal supply [V], winding and magnet at 25 °C, air [kg/m³].

    With the stand's controller and its own current limit; columns are named as `predict --json` names them.
    ``excess_loss`` [1] as in `BenchOptions`.
    """
    m, p, s = motor.parameters, propeller.parameters, stand.parameters
    drive = Drive(
        k_e=back_emf_constant(m["kv"]),
        k_t=m["kt"],
        resistance=m["winding_resistance"],
        drag_static=m["drag_current_static"],
        drag_slope=m["drag_current_slope"],
        drag_windage=m["drag_current_windage"],
        saturation_current=m.get("saturation_current", math.inf),
        controller_resistance=s["controller_resistance"],
        idle_current=s["controller_idle_current"],
        current_limit=s["current_limit"],
        duty_slope=s["duty_slope"],
        duty_curvature=s["duty_curvature"],
        duty_cubic=s["duty_cubic"],
    )
    load = Load(
        thrust_coefficient=p["thrust_coefficient"],
        torque_coefficient=p["torque_coefficient"],
        diameter=0.0254 * propeller.diameter_in,
        density=density,
        thrust_exponent=p["thrust_reynolds_exponent"],
        torque_exponent=p["torque_reynolds_exponent"],
    )
    o = _with_excess(throttle, voltage_v, drive, load, excess_current(m, excess_loss))
    columns = {
        "throttle": throttle,
        "speed_rpm": o["speed"] * 60.0 / (2.0 * math.pi),
        "thrust_n": o["thrust"],
        "torque_nm": o["torque"],
        "current_a": o["bus_current"],
        "motor_current_a": o["motor_current"],
        "electrical_power_w": o["electrical_power"],
        "mechanical_power_w": o["mechanical_power"],
    }
    values = {name: tuple(float(v) for v in column) for name, column in columns.items()}
    return TrueCurve(motor.id, propeller.id, voltage_v, condition, values)


_POINT = (
    "speed", "thrust", "torque", "bus_current", "motor_current", "electrical_power", "mechanical_power",
)  # fmt: skip
_ROUNDS = 60


def _with_excess(
    throttle: Sequence[float], voltage_v: float, drive: Drive, load: Load, excess: float
) -> Mapping[str, NDArray[np.float64]]:
    """Operating points (throttle,) with a drag current ``excess`` [A/√(rad/s)] times the root of speed.

    At each point that drag is a constant; it is found by inserting the speed until it stays.
    """
    points: list[dict[str, float]] = []
    for x in throttle:
        with_drag, before = drive, -1.0
        o = operating_points([x], voltage_v, drive, load)
        for _ in range(_ROUNDS if excess > 0.0 else 0):
            speed = float(o.speed[0, 0])
            if abs(speed - before) <= 1e-9 * speed:
                break
            before = speed
            with_drag = replace(drive, drag_static=float(np.asarray(drive.drag_static)) + excess * speed**0.5)
            o = operating_points([x], voltage_v, with_drag, load)
        points.append({name: float(getattr(o, name)[0, 0]) for name in _POINT})
    return {name: np.array([p[name] for p in points]) for name in _POINT}
