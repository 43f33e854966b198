"""A battery pack of lithium-ion polymer cells: open-circuit voltage, resistance, sag.

The open-circuit curve and the resistance below are round values of ordinary high-rate cells, chosen here
and not taken from any one maker; a pack with measured values takes those instead. So are the spreads: how
far a pack that was not measured may be from them. That ohmic and charge-transfer resistance grow in the cold
by an Arrhenius law is general electrochemistry (e.g. J. Newman, K. E. Thomas-Alyea, Electrochemical Systems,
3rd ed. 2004).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from motorfit.physics.values import PhysicsError, Value, require_between

GAS_CONSTANT = 8.314462618
"""Molar gas constant [J/(mol K)], exact in the SI of 2019."""

ACTIVATION_ENERGY = 20_000.0
"""Activation energy of a cell's resistance [J/mol]: 2.1 times the resistance at 0 °C, 4.2 at -20 °C."""

RESISTANCE_TIMES_CAPACITY = 0.010
"""Resistance of one cell at 25 °C times its capacity [ohm A h], where neither is measured."""

RESISTANCE_SPREAD = 0.35
"""Standard deviation [1] of the logarithm of a cell's resistance where it is not measured: packs of one label
differ by grade, age and charge."""

CAPACITY_SPREAD = 0.05
"""Relative standard deviation [1] of a pack's usable capacity about what its label says."""

OPEN_CIRCUIT_SPREAD = 0.015
"""Standard deviation [V] of a cell's open-circuit voltage about the curve below at the same charge."""

_CHARGE = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
_VOLTAGE = (3.30, 3.58, 3.67, 3.73, 3.77, 3.80, 3.84, 3.88, 3.95, 4.02, 4.11, 4.20)


def charge_breaks() -> tuple[float, ...]:
    """States of charge [1] at which the open-circuit curve has its corners, rising."""
    return _CHARGE


def cell_open_circuit_voltage(charge: Value) -> Value:
    """Voltage of a cell at rest [V] at a state of charge [1], 0 to 1; held at the ends."""
    voltage: Value = np.interp(charge, _CHARGE, _VOLTAGE)
    return voltage


def cold_factor(temperature_c: Value, activation_energy: Value = ACTIVATION_ENERGY) -> Value:
    """Resistance over resistance at 25 °C [1] at a cell temperature [°C]: exp(E_a/R (1/T - 1/298.15 K))."""
    inverse = 1.0 / (temperature_c + 273.15) - 1.0 / 298.15
    factor: Value = np.exp(activation_energy / GAS_CONSTANT * inverse)
    return factor


@dataclass(frozen=True, slots=True)
class Pack:
    """Cells in series.

    Attributes
    ----------
    cells : number in series
    capacity_mah : [mA h]
    cell_resistance_ohm : of one cell at 25 °C [ohm]; None takes the usual one of that capacity
    lead_resistance_ohm : leads and connectors [ohm]
    """

    cells: int
    capacity_mah: float
    cell_resistance_ohm: float | None = None
    lead_resistance_ohm: float = 0.003

    def __post_init__(self) -> None:
        """Refuse what no pack can be."""
        if int(self.cells) != self.cells or not 1 <= self.cells <= 28:
            raise PhysicsError(
                f"cells is {self.cells!r}; allowed are whole numbers 1 to 28, of cells in series."
            )
        require_between(
            "capacity_mah",
            self.capacity_mah,
            10.0,
            1e6,
            "mA h",
            "Give the pack's capacity, 1 A h = 1000 mA h.",
        )
        if self.cell_resistance_ohm is not None:
            require_between(
                "cell_resistance_ohm",
                self.cell_resistance_ohm,
                1e-5,
                1.0,
                "ohm",
                "Give ohms per cell, not milliohms.",
            )
        require_between("lead_resistance_ohm", self.lead_resistance_ohm, 0.0, 1.0, "ohm", "Give ohms.")

    def resistance(self, temperature_c: Value = 25.0) -> Value:
        """Resistance of the pack with its leads [ohm] at a cell temperature [°C]."""
        cell = self.cell_resistance_ohm
        if cell is None:
            cell = RESISTANCE_TIMES_CAPACITY / (self.capacity_mah / 1000.0)
        return self.cells * cell * cold_factor(temperature_c) + self.lead_resistance_ohm

    def open_circuit_voltage(self, charge: Value) -> Value:
        """Voltage at rest [V] at a state of charge [1]."""
        return self.cells * cell_open_circuit_voltage(charge)

    def voltage(self, charge: Value, current: Value, temperature_c: Value = 25.0) -> Value:
        """Voltage under a current [A] at a state of charge [1] and cell temperature [°C]."""
        return self.open_circuit_voltage(charge) - self.resistance(temperature_c) * current

    def largest_power(self, charge: Value, temperature_c: Value = 25.0) -> Value:
        """Power [W] beyond which the pack collapses: E²/(4 R)."""
        voltage = self.open_circuit_voltage(charge)
        return voltage * voltage / (4.0 * self.resistance(temperature_c))

    def current_for_power(self, power: Value, charge: Value, temperature_c: Value = 25.0) -> Value:
        """Current [A] at which the pack gives a power [W]; NaN where it collapses first.

        The smaller root of R I² - E I + P = 0.
        """
        voltage, resistance = self.open_circuit_voltage(charge), self.resistance(temperature_c)
        inside = voltage * voltage - 4.0 * resistance * power
        root = np.sqrt(np.where(np.asarray(inside) >= 0.0, inside, math.nan))
        current: Value = 2.0 * power / (voltage + root)
        return current
