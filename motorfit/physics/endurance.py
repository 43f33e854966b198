"""How long a pack holds motors at one speed, and how warm they get there.

At a constant speed and torque a motor asks for constant power, so its current rises as the pack's voltage
falls: the time is the integral of capacity · dq/(n I_b(q)) over the state of charge q, with the open-circuit
curve and the resistance of the pack (`motorfit.physics.pack`) and the operating point solved together at each
charge (`motorfit.physics.demand`).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorfit.compiled import kernel
from motorfit.physics import motor
from motorfit.physics.demand import Demand, current_against, demand
from motorfit.physics.drive import Drive
from motorfit.physics.pack import charge_breaks

__all__ = ["Cooling", "Discharge", "charge_nodes", "discharge", "settled_temperatures"]

Array = NDArray[np.float64]

RUNAWAY_C = 1000.0
"""Winding temperature [°C] beyond which no steady one is sought."""

_ROUNDS = 200
_LEAST_FLUX = 0.05


@dataclass(frozen=True, slots=True)
class Discharge:
    """A discharge at constant speed, each (draws,) but ``demand``, which is (draws, charges).

    ``time`` [s] until the last charge, or until the speed can no longer be held (0 where it never could);
    ``end_charge`` [1] at that moment; ``held`` True where it was held to the last charge.
    """

    time: Array
    end_charge: Array
    held: NDArray[np.bool_]
    demand: Demand


def charge_nodes(full: float, empty: float, between: int = 6) -> Array:
    """States of charge [1] from ``full`` down to ``empty``, corners of the open-circuit curve among them."""
    inside = [c for c in charge_breaks() if empty < c < full]
    edges = np.array(sorted({full, empty, *inside}, reverse=True))
    parts = [np.linspace(a, b, between, endpoint=False) for a, b in itertools.pairwise(edges)]
    return np.concatenate([*parts, [empty]])


def discharge(
    omega: ArrayLike,
    torque: ArrayLike,
    drive: Drive,
    charges: Array,
    voltage: Array,
    capacity: ArrayLike,
    motors: int = 1,
) -> Discharge:
    """Hold a speed against a torque while the pack empties.

    Parameters
    ----------
    omega, torque : of each motor [rad/s], [N m], (draws,)
    drive : one motor; its source resistance is that of the pack times the number of motors
    charges : states of charge [1], (charges,), falling
    voltage : open-circuit voltage of the pack there [V], (draws, charges)
    capacity : of the pack [A s], a number or (draws,)
    motors : how many run at once

    The time is summed by the trapezoidal rule, the duty taken as straight within the step where it reaches 1.
    """
    w, q = (np.atleast_1d(np.asarray(a, dtype=np.float64))[:, np.newaxis] for a in (omega, torque))
    d = demand(w, q, voltage, drive)
    rate = motors * d.bus_current  # [A]
    steps = -np.diff(charges)[np.newaxis, :]
    size = np.atleast_1d(np.asarray(capacity, dtype=np.float64))[:, np.newaxis]
    with np.errstate(divide="ignore", invalid="ignore"):
        slow = 1.0 / rate
        span = size * steps * 0.5 * (slow[:, 1:] + slow[:, :-1])
        room = (1.0 - d.duty[:, :-1]) / (d.duty[:, 1:] - d.duty[:, :-1])
        part = np.where(np.isfinite(room), np.clip(room, 0.0, 1.0), 0.0)
        partial = size * steps * part * slow[:, :-1]
    good = d.feasible & (rate > 0.0)
    lasting = np.logical_and.accumulate(good, axis=1)
    whole = lasting[:, 1:]
    last = lasting[:, :-1] & ~whole
    share = np.where(whole, 1.0, np.where(last, part, 0.0))
    time = np.where(whole, span, np.where(last, partial, 0.0)).sum(axis=1)
    end = charges[0] - (share * steps).sum(axis=1)
    return Discharge(time=time, end_charge=end, held=np.asarray(lasting[:, -1]), demand=d)


@dataclass(frozen=True, slots=True)
class Cooling:
    """What carries heat away, each a number or (draws,).

    ``winding`` [K/W] from winding to body, ``body`` [K/W] from body to air, ``magnet_loss`` [1/K] of K_t and
    K_e, ``air_c`` [°C].
    """

    winding: ArrayLike
    body: ArrayLike
    magnet_loss: ArrayLike
    air_c: float


def settled_temperatures(
    omega: ArrayLike, torque: ArrayLike, drive: Drive, cooling: Cooling
) -> tuple[Array, Array, Array]:
    """Winding and body temperature [°C] and motor current [A] of endless running, each (draws,).

    Copper warms with its own resistance, and warm magnets ask for more current, so the balance of
    `motorfit.physics.heat` is iterated from the air's temperature upwards until it stands. Infinite where it
    runs away, NaN where no current gives the torque.

    Parameters
    ----------
    omega, torque : [rad/s], [N m], (draws,)
    drive : with the constants at 25 °C
    cooling : thermal resistances
    """
    w, q = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (omega, torque))
    saturation = np.asarray(drive.saturation_current, dtype=np.float64)
    fields = (
        drive.k_t, drive.drag_static, drive.drag_slope, drive.drag_windage, 1.0 / (saturation * saturation),
        drive.resistance, cooling.winding, cooling.body, cooling.magnet_loss,
    )  # fmt: skip
    wide = np.broadcast_arrays(w, q, *(np.asarray(a, dtype=np.float64) for a in fields))
    found = np.empty((3, wide[0].size))
    _settle(np.stack(wide), float(cooling.air_c), found)
    return found[0], found[1], found[2]


@kernel
def _settle(p: Array, air: float, found: Array) -> None:
    """Into found (3, S); p (11, S): ω, Q, K_t, i_0, i_1, i_2, 1/I_s², R, winding, body, magnet loss."""
    for s in range(p.shape[1]):
        w, q, r = p[0, s], p[1, s], p[7, s]
        drag = p[3, s] + w * (p[4, s] + w * p[5, s])
        winding, body, current = air, air, math.nan
        end = 0.0
        for turn in range(_ROUNDS):
            flux = 1.0 - p[10, s] * (body - motor.REFERENCE_TEMPERATURE_C)
            k_t = p[2, s] * max(flux, _LEAST_FLUX)
            need = k_t * drag + q
            inside = k_t * k_t - 4.0 * q * p[6, s] * need
            if not inside >= 0.0:
                # a torque that no current gives: impossible when cold, a runaway when it was possible before
                end = math.nan if turn == 0 else math.inf
                break
            current = 2.0 * need / (k_t + math.sqrt(inside))
            copper = r * (1.0 + motor.COPPER_COEFFICIENT * (winding - motor.REFERENCE_TEMPERATURE_C))
            copper *= current * current
            # at rest only time constant over capacity, the resistance, counts
            new_body = air + (copper + k_t * drag * w) * p[9, s]
            new = new_body + copper * p[8, s]
            if new > RUNAWAY_C:
                end = math.inf
                break
            moved = abs(new - winding)
            winding, body = new, new_body
            if moved < 1e-7:
                break
        found[0, s], found[1, s] = winding + end, body + end
        found[2, s] = math.nan if end != end else current


def heat_sources(
    omega: Array, torque: Array, drive: Drive, winding_c: ArrayLike, body_c: ArrayLike, magnet_loss: ArrayLike
) -> tuple[Array, Array, Array]:
    """Motor current [A], heat in the winding [W] and in the body [W] at temperatures [°C]; all (draws,)."""
    flux = np.maximum(motor.magnet_factor(np.asarray(body_c), np.asarray(magnet_loss)), _LEAST_FLUX)
    k_t = np.asarray(drive.k_t) * flux
    parts = (np.asarray(a) for a in (drive.drag_static, drive.drag_slope, drive.drag_windage))
    drag = np.asarray(motor.drag_current(omega, *parts))
    current = current_against(torque, drag, k_t, np.asarray(drive.saturation_current, dtype=np.float64))
    resistance = motor.resistance_at(np.asarray(drive.resistance, dtype=np.float64), np.asarray(winding_c))
    return current, np.asarray(motor.copper_loss(current, resistance)), np.asarray(k_t * drag * omega)
