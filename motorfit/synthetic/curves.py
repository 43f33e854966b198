"""What untested conditions would really give: the yardstick for predictions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from motorfit.physics.drive import Drive, Load
from motorfit.physics.motor import back_emf_constant
from motorfit.physics.steady import operating_points
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
) -> TrueCurve:
    """Steady values at throttles [1] from an ideal supply [V], winding and magnet at 25 °C, air [kg/m³].

    With the stand's controller and its own current limit; columns are named as `predict --json` names them.
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
    o = operating_points(list(throttle), voltage_v, drive, load)
    columns = {
        "throttle": throttle,
        "speed_rpm": o.speed[0] * 60.0 / (2.0 * math.pi),
        "thrust_n": o.thrust[0],
        "torque_nm": o.torque[0],
        "current_a": o.bus_current[0],
        "motor_current_a": o.motor_current[0],
        "electrical_power_w": o.electrical_power[0],
        "mechanical_power_w": o.mechanical_power[0],
    }
    values = {name: tuple(float(v) for v in column) for name, column in columns.items()}
    return TrueCurve(motor.id, propeller.id, voltage_v, condition, values)
