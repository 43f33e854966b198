"""Published static tests of propellers, reduced to the components of `propeller_kin` with their doubt.

A propeller was read at three speeds or more. A power law of speed through its readings gives the components
where n D² is LIKENESS. Three things make their doubt: what one reading scatters by, more on the stand that
tested small propellers; how far propellers that small were turned below LIKENESS; and that the law bends.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from motorfit.answers.propeller_kin import COMPONENTS, LIKENESS, Geometry, design

Array = npt.NDArray[np.float64]

FACTS = Path(__file__).with_name("propeller_facts.csv")

SMALL_M = 0.1524
"""Diameter [m] below which propellers were tested on a stand of their own, for small forces: its readings
scatter more."""


@dataclass(frozen=True)
class Noise:
    """What readings are off by: log C_T, then log C_P [1].

    Attributes
    ----------
    large, small : (2,) one sigma of one reading of a propeller above and below `SMALL_M`
    bend : (2,) one sigma of the coefficient of the squared logarithm of speed, which a power law lacks
    """

    large: Array
    small: Array
    bend: Array

    @classmethod
    def of(cls, logs: Array) -> Noise:
        """Of the six logarithms that are searched."""
        values = np.exp(logs)
        return cls(values[:2], values[2:4], values[4:])


@dataclass(frozen=True)
class Readings:
    """Of one propeller.

    Attributes
    ----------
    log_speed : (n,) log of n D² over LIKENESS
    logs : (n, 2) log C_T, log C_P
    small : tested on the stand for small ones
    """

    log_speed: Array
    logs: Array
    small: bool

    @property
    def middle(self) -> float:
        """Log of n D² over LIKENESS in the middle of the readings, where they say most."""
        return float(self.log_speed.mean())

    def basis(self) -> Array:
        """Columns (n, 2) of a power law."""
        return np.stack([np.ones(len(self.logs)), self.log_speed], axis=1)

    def law(self) -> Array:
        """Logs at LIKENESS and exponents, (2, 2)."""
        basis = self.basis()
        return np.asarray(np.linalg.solve(basis.T @ basis, basis.T @ self.logs))

    def components(self) -> Array:
        """(4,) at LIKENESS."""
        (log_thrust, log_power), (slope_thrust, slope_torque) = self.law()
        merit = min(math.exp(0.5 * math.log(2 / math.pi) + 1.5 * log_thrust - log_power), 0.9)
        return np.array([log_thrust, math.log(merit / (1.0 - merit)), slope_thrust, slope_torque])

    def doubt(self, noise: Noise) -> Array:
        """Covariance (4, 4) of the components."""
        basis = self.basis()
        shape = np.linalg.inv(basis.T @ basis)
        pull = shape @ basis.T @ self.log_speed**2
        raw = np.zeros((4, 4))
        for kind, sd in enumerate(noise.small if self.small else noise.large):
            part = slice(2 * kind, 2 * kind + 2)
            raw[part, part] = sd**2 * shape + noise.bend[kind] ** 2 * np.outer(pull, pull)
        steep = 1.0 + math.exp(self.components()[1])
        turn = np.array([[1, 0, 0, 0], [1.5 * steep, 0, -steep, 0], [0, 1, 0, 0], [0, 0, 0, 1.0]])
        covariance: Array = turn @ raw @ turn.T
        return covariance

    def misfit(self, noise: Noise) -> float:
        """Minus the log likelihood of what readings scatter about their power law."""
        rest = np.linalg.qr(self.basis(), mode="complete").Q[:, 2:]
        off, bent = rest.T @ self.logs, rest.T @ self.log_speed**2
        total = 0.0
        for kind, sd in enumerate(noise.small if self.small else noise.large):
            covariance = sd**2 * np.eye(len(bent)) + noise.bend[kind] ** 2 * np.outer(bent, bent)
            total += 0.5 * float(off[:, kind] @ np.linalg.solve(covariance, off[:, kind]))
            total += 0.5 * float(np.linalg.slogdet(covariance)[1])
        return total


@dataclass(frozen=True)
class Tests:
    """Components (n, 4), their covariances (n, 4, 4), rows of the design (n, 4, 16), families, names; logs
    of n D² over LIKENESS in the middle of the readings; the readings, and the noise they are taken to have.
    """

    names: tuple[str, ...]
    families: npt.NDArray[np.str_]
    rows: Array
    values: Array
    doubt: Array
    diameters: Array
    ratios: Array
    blades: Array
    middles: Array
    readings: tuple[Readings, ...]
    noise: Noise


def read(noise: Noise) -> Tests:
    """Reduce each propeller's readings to its four components where n D² is LIKENESS."""
    with FACTS.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    names = tuple(dict.fromkeys(line["propeller"] for line in lines))
    families, rows, sizes, readings = [], [], [], []
    for name in names:
        own = [line for line in lines if line["propeller"] == name]
        first = own[0]
        diameter, pitch = (0.0254 * float(first[k]) for k in ("diameter_in", "pitch_in"))
        blades = int(first["blades"])
        speed = np.array([float(line["speed_rpm"]) / 60.0 for line in own])
        power = np.log(
            [[float(line[k]) for k in ("thrust_coefficient", "power_coefficient")] for line in own]
        )
        row = np.zeros((COMPONENTS, 16))
        row[:, :14] = design(Geometry(diameter, pitch, blades))
        row[0, 14] = row[1, 15] = float(first["slow_flight"])
        families.append(first["family"])
        rows.append(row)
        sizes.append((diameter, pitch / diameter, float(blades)))
        readings.append(Readings(np.log(speed * diameter**2 / LIKENESS), power, diameter < SMALL_M))
    size = np.array(sizes)
    return Tests(
        names, np.array(families), np.array(rows), np.array([r.components() for r in readings]),
        np.array([r.doubt(noise) for r in readings]), size[:, 0], size[:, 1], size[:, 2],
        np.array([r.middle for r in readings]), tuple(readings), noise,
    )  # fmt: skip
