"""Slots of a run's flat parameter vector, and channels of what sensors read.

Compiled code touches plain arrays only, and a batch of draws is one contiguous array.
"""

from __future__ import annotations

# fmt: off
(P_KE, P_KT, P_R, P_RC, P_I0, P_I1, P_I2, P_SAT, P_J, P_BRAKE, P_LIMIT,
 P_DUTY_S, P_DUTY_C, P_DUTY_E, P_IDLE, P_CT, P_CQ, P_AT, P_AQ, P_WREF,
 P_AW, P_TW, P_AB, P_TB, P_MAG, P_AIR, P_OMEGA0, P_RS, P_SUPPLY, P_WARMTH, P_SHIFT, P_DRIFT) = range(32)
# fmt: on
N_PHYSICS = 32

(
    C_CURRENT,
    C_SPEED,
    C_THRUST,
    C_TORQUE,
    C_MOTOR_CURRENT,
    C_MOTOR_VOLTAGE,
    C_WINDING_TEMPERATURE,
    C_DUTY,
) = range(8)
N_CHANNELS = 8

MODE_DRIVEN, MODE_FREEWHEEL, MODE_AT_SPEED = 0, 1, 2
