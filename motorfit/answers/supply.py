"""What feeds a prediction: an ideal supply, or a pack that several motors share."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.answers.errors import AnswerError
from motorfit.answers.plain import plain
from motorfit.answers.posterior import FloatArray
from motorfit.physics.pack import (
    CAPACITY_SPREAD,
    OPEN_CIRCUIT_SPREAD,
    RESISTANCE_SPREAD,
    Pack,
)

MAX_MOTORS, MAX_CELLS = 64, 28


@dataclass(frozen=True)
class PackChoice:
    """A lithium-ion polymer pack as a user states it.

    Attributes
    ----------
    cells : in series
    capacity_mah : as labelled [mA h]
    charge : state of charge [1], 0 to 1
    cell_resistance_ohm : of one cell at 25 °C [ohm]; None: the usual one of that capacity, with its scatter
    temperature_c : of the cells [°C]
    lead_resistance_ohm : leads and connectors, shared by all motors [ohm]
    capacity_sd_mah : doubt of the capacity [mA h]; None: 5 % of the label
    """

    cells: int
    capacity_mah: float
    charge: float = 1.0
    cell_resistance_ohm: float | None = None
    temperature_c: float = 25.0
    lead_resistance_ohm: float = 0.003
    capacity_sd_mah: float | None = None

    def __post_init__(self) -> None:
        """Refuse what no pack can be."""
        if not 1 <= self.cells <= MAX_CELLS or int(self.cells) != self.cells:
            raise AnswerError(
                "cells", self.cells, f"a whole number from 1 to {MAX_CELLS}", "Count the cells in series."
            )
        _within("capacity_mah", self.capacity_mah, 10.0, 1e6, "Give the pack's capacity, 1 A h = 1000 mA h.")
        if self.cell_resistance_ohm is not None:
            _within(
                "cell_resistance_ohm", self.cell_resistance_ohm, 1e-5, 1.0,
                "Give ohms per cell, not milliohms.",
            )  # fmt: skip
        _within("lead_resistance_ohm", self.lead_resistance_ohm, 0.0, 1.0, "Give ohms, not milliohms.")
        _within("charge", self.charge, 0.0, 1.0, "Give the state of charge as a share, 1 for full.")
        _within("pack_temperature_c", self.temperature_c, -30.0, 80.0, "Give the cells' temperature in degC.")
        if self.capacity_sd_mah is not None:
            _within("capacity_sd_mah", self.capacity_sd_mah, 0.0, 0.5 * self.capacity_mah, "Give it in mA h.")

    def pack(self) -> Pack:
        """Return the pack of the physics, without its doubts."""
        return Pack(self.cells, self.capacity_mah, self.cell_resistance_ohm, self.lead_resistance_ohm)

    def to_json(self) -> dict[str, Any]:
        """Return the pack as it was asked for; a resistance of null was taken from the capacity."""
        names = ("cells", "capacity_mah", "charge", "cell_resistance_ohm", "temperature_c")
        return {name: plain(getattr(self, name)) for name in names}


@dataclass(frozen=True)
class PackDraws:
    """A pack's doubts, draw by draw, each (S,).

    ``resistance`` [ohm] is that of the whole pack with leads at its temperature; ``shift`` [V] is added
    to the open-circuit voltage of the whole pack; ``capacity`` is usable [A s].
    """

    choice: PackChoice
    resistance: FloatArray
    shift: FloatArray
    capacity: FloatArray

    def open_circuit_voltage(self, charge: Any) -> FloatArray:
        """Voltage at rest [V], (S, charges), at states of charge [1] (charges,)."""
        at = np.atleast_1d(np.asarray(self.choice.pack().open_circuit_voltage(charge), dtype=np.float64))
        total: FloatArray = at[np.newaxis, :] + self.shift[:, np.newaxis]
        return total


@dataclass(frozen=True)
class Supply:
    """A source as one of several like motors sees it.

    Attributes
    ----------
    voltage : open-circuit [V], a number for an ideal supply, or (S,)
    resistance : [ohm], 0 or (S,). Of a pack that n motors share, each motor sees n times the pack's: the drop
        n R I of all currents together.
    motors : how many share it
    pack : its doubts, None for an ideal supply
    """

    voltage: float | FloatArray
    resistance: float | FloatArray
    motors: int = 1
    pack: PackDraws | None = None

    @property
    def nominal_v(self) -> float:
        """The open-circuit voltage, the middle one where it is in doubt [V]."""
        return self.voltage if isinstance(self.voltage, float) else float(np.median(self.voltage))

    @property
    def label(self) -> str:
        """How a table's title names it."""
        if self.pack is None:
            return f"{self.nominal_v:g} V"
        choice, shared = self.pack.choice, "" if self.motors == 1 else f" shared by {self.motors} motors"
        full = f"{100 * choice.charge:.0f} % charged"
        cells = "1 cell" if choice.cells == 1 else f"{choice.cells} cells"
        return f"{cells} of {choice.capacity_mah:g} mA h, {full}{shared}"


def ideal_supply(voltage_v: float) -> Supply:
    """Return a supply that holds its voltage [V] whatever the current; AnswerError outside 0..1000 V."""
    if not (math.isfinite(voltage_v) and 0.0 < voltage_v <= 1000.0):
        raise AnswerError(
            "voltage", voltage_v, "above 0 and up to 1000 V", "Give the supply's voltage in volts."
        )
    return Supply(float(voltage_v), 0.0)


def pack_supply(
    choice: PackChoice, draws: int, *, motors: int = 1, rows: NDArray[np.intp] | None = None
) -> Supply:
    """Return a pack as one of ``motors`` like motors sees it, draw by draw.

    Parameters
    ----------
    choice:
        The pack; what it leaves open is drawn about the usual. The draws depend on the pack alone, so that
        two motors are compared on one pack.
    draws:
        How many draws the fit holds.
    motors:
        How many like motors run from it at once, from 1.
    rows:
        Which draws to take; all when left out.
    """
    check_motors(motors)
    pack = pack_draws(choice, draws, rows)
    volts = pack.open_circuit_voltage(choice.charge)[:, 0]
    return Supply(volts, motors * pack.resistance, motors, pack)


def pack_draws(choice: PackChoice, draws: int, rows: NDArray[np.intp] | None = None) -> PackDraws:
    """Draw what is not known of a pack; ``rows`` picks from the draws."""
    key = f"{choice.cells}/{choice.capacity_mah:.6g}/{choice.cell_resistance_ohm}"
    normal = np.random.default_rng(zlib.crc32(key.encode())).standard_normal((3, draws))
    if rows is not None:
        normal = normal[:, rows]
    leads = choice.lead_resistance_ohm
    resistance = np.full(normal.shape[1], float(choice.pack().resistance(choice.temperature_c)))
    if choice.cell_resistance_ohm is None:
        resistance = leads + (resistance - leads) * np.exp(RESISTANCE_SPREAD * normal[0])
    sd = choice.capacity_sd_mah
    sd = CAPACITY_SPREAD * choice.capacity_mah if sd is None else sd
    capacity = np.maximum(choice.capacity_mah + sd * normal[1], 0.1 * choice.capacity_mah) * 3.6
    return PackDraws(choice, resistance, choice.cells * OPEN_CIRCUIT_SPREAD * normal[2], capacity)


def check_motors(motors: int) -> None:
    """Raise AnswerError unless ``motors`` is a whole number from 1."""
    if int(motors) != motors or not 1 <= motors <= MAX_MOTORS:
        raise AnswerError(
            "motors", motors, f"a whole number from 1 to {MAX_MOTORS}", "Count the motors on one pack."
        )


def _within(name: str, value: float, low: float, high: float, remedy: str) -> None:
    if not low <= value <= high:
        raise AnswerError(name, value, f"{low:g} to {high:g}", remedy)
