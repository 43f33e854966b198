"""Prior densities: each owns its log-density, its inverse distribution function and a label a person can
read.

`BELIEFS` is the one table of prior beliefs, versioned; a campaign may override any of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

import numpy as np
import numpy.typing as npt

__all__ = [
    "ABSENT",
    "BELIEFS",
    "VERSION",
    "Belief",
    "BetaLogit",
    "Flat",
    "HalfNormal",
    "Normal",
    "Prior",
    "StudentT",
]

Array = npt.NDArray[np.float64]

VERSION = 1
"""Of the table below; stored with every fit."""

ABSENT = 0.5
"""Belief that a controller draws no current of its own when idle, or none that anyone could see [1]."""


class Prior(Protocol):
    """A density of one standardised coordinate."""

    @property
    def label(self) -> str:
        """Readable form."""

    def log_density(self, z: Array) -> Array:
        """Log density, up to a constant, any shape [-]."""

    def inverse_cdf(self, p: Array) -> Array:
        """Quantile function, any shape of probabilities [-]."""


@dataclass(frozen=True)
class Normal:
    """Standard normal."""

    label: str = "normal(0, 1)"

    def log_density(self, z: Array) -> Array:
        """Log density up to a constant."""
        return -0.5 * z * z

    def inverse_cdf(self, p: Array) -> Array:
        """Quantile."""
        from scipy.special import ndtri

        return np.asarray(ndtri(p), dtype=np.float64)


@dataclass(frozen=True)
class StudentT:
    """Student's t with ν degrees of freedom: a label that is usually right and now and then far off.

    Beyond `end`, where nothing can be, it falls like a normal of that standard deviation.
    """

    nu: float = 4.0
    end: float = math.inf

    @property
    def label(self) -> str:
        """Readable form."""
        return f"t(ν={self.nu:g})"

    def log_density(self, z: Array) -> Array:
        """Log density up to a constant."""
        return -0.5 * (self.nu + 1.0) * np.log1p(z * z / self.nu) - 0.5 * (z / self.end) ** 2

    def inverse_cdf(self, p: Array) -> Array:
        """Quantile."""
        from scipy.special import stdtrit

        return np.asarray(stdtrit(self.nu, p), dtype=np.float64)


@dataclass(frozen=True)
class BetaLogit:
    """The logit of a Beta(a, b) variable, shifted by `center` and scaled by `scale`: x = σ(center +
    scale·z)."""

    a: float
    b: float
    center: float
    scale: float

    @property
    def label(self) -> str:
        """Readable form."""
        return f"Beta({self.a:g}, {self.b:g})"

    def log_density(self, z: Array) -> Array:
        """Log density up to a constant, zero at its mode; the Jacobian of the logit is in it."""
        x = self.center + self.scale * z
        top = math.log(self.a / (self.a + self.b)) * self.a + math.log(self.b / (self.a + self.b)) * self.b
        return -self.a * np.logaddexp(0.0, -x) - self.b * np.logaddexp(0.0, x) - top

    def inverse_cdf(self, p: Array) -> Array:
        """Quantile."""
        from scipy.special import betaincinv

        share = betaincinv(self.a, self.b, p)
        return np.asarray((np.log(share) - np.log1p(-share) - self.center) / self.scale, dtype=np.float64)


@dataclass(frozen=True)
class HalfNormal:
    """The positive half of a standard normal, up to `top`: for effects that may be absent but never
    negative."""

    top: float = math.inf

    @property
    def label(self) -> str:
        """Readable form."""
        return "half-normal" if math.isinf(self.top) else f"half-normal up to {self.top:g}"

    def log_density(self, z: Array) -> Array:
        """Log density up to a constant; -inf outside."""
        return np.where((z >= 0.0) & (z <= self.top), -0.5 * z * z, -np.inf)

    def inverse_cdf(self, p: Array) -> Array:
        """Quantile."""
        from scipy.special import ndtr, ndtri

        most = 1.0 if math.isinf(self.top) else 2.0 * float(ndtr(self.top)) - 1.0
        return np.asarray(ndtri(0.5 + 0.5 * most * p), dtype=np.float64)


@dataclass(frozen=True)
class Flat:
    """No density of its own: the belief is stated on a combination (see `motorfit.inference.combine`)."""

    label: str = "by combination"

    def log_density(self, z: Array) -> Array:
        """Zero."""
        return np.zeros_like(z)

    def inverse_cdf(self, p: Array) -> Array:
        """Not a distribution; draws of it come from the combination."""
        raise NotImplementedError(self.label)


@dataclass(frozen=True)
class Belief:
    """One row of the prior table.

    Attributes
    ----------
    center : where it is centred, in `unit`
    spread : one sigma, of the logarithm when `log` is true, else in `unit`
    log : lognormal instead of normal
    unit : unit of `center`
    why : what it rests on
    """

    center: float
    spread: float
    log: bool
    unit: str
    why: str


BELIEFS: Mapping[str, Belief] = MappingProxyType(
    {
        "kv": Belief(1200.0, math.log(2.5), True, "rpm/V", "small multirotor motors, without a label"),
        "kv_labelled": Belief(
            1.0, 0.08, True, "1", "relative to the label, Student-t with 4 degrees of freedom"
        ),
        "kt_kv_ratio": Belief(0.96, 0.05, False, "1", "real commutation, within 0.75 to 1.08"),
        "torque_per_root_watt": Belief(0.020, 0.40, True, "N m/√W", "at 35 g, grows with mass^0.83"),
        "controller_resistance": Belief(0.010, math.log(1.8), True, "ohm", "controller and leads"),
        "no_load_current": Belief(0.9, math.log(2.0), True, "A", "at 10 V"),
        "rotor_inertia": Belief(4e-6, math.log(2.0), True, "kg m^2", "at 50 g, grows with mass^1.6"),
        "saturation_current": Belief(150.0, math.log(2.0), True, "A", "at 50 g, grows with mass"),
        "winding_heat_capacity": Belief(
            3.0, math.log(1.7), True, "J/K", "at 50 g, grows with mass: copper share"
        ),
        "winding_time_constant": Belief(6.0, math.log(2.0), True, "s", "winding to body"),
        "body_heat_capacity": Belief(25.0, math.log(1.5), True, "J/K", "at 50 g, grows with mass"),
        "body_time_constant": Belief(
            50.0, math.log(2.0), True, "s", "in the wash; four times that in still air"
        ),
        "magnet_temperature_coefficient": Belief(0.0011, 0.0001, False, "1/K", "neodymium magnets"),
        "start_warmth": Belief(
            0.0, 1.0, False, "K", "motor above the air at the start of a run, when not logged"
        ),
        "thrust_coefficient": Belief(0.11, 0.25, True, "1", "two blades, grows with (blades/2)^0.6"),
        "figure_of_merit": Belief(0.56, 0.344, False, "1", "logit-normal, 95 % within 0.40 to 0.72"),
        "thrust_reynolds_exponent": Belief(0.05, 0.05, False, "1", "static tests of small propellers"),
        "torque_reynolds_exponent": Belief(-0.06, 0.08, False, "1", "static tests of small propellers"),
        "prop_inertia_share": Belief(0.18, 0.25, True, "1", "J_p/(m (D/2)²); a uniform rod has 0.33"),
        "prop_mass": Belief(0.0045, 0.45, True, "kg", "at 5 inch, grows with diameter^2.3, when not weighed"),
        "duty_slope": Belief(1.0, 0.05, False, "1", "duty equals throttle, nearly"),
        "duty_curvature": Belief(0.0, 0.10, False, "1", "duty equals throttle, nearly"),
        "duty_cubic": Belief(0.0, 0.04, False, "1", "duty equals throttle, nearly"),
        "controller_idle_current": Belief(0.12, math.log(2.5), True, "A", "logic and gate drivers"),
        "current_limit": Belief(1.0, 0.03, True, "1", "of all a controller's limits, relative to nominal"),
        "limit_setting": Belief(1.0, 0.005, True, "1", "of one of several limits beside the others"),
        "gain_voltage": Belief(1.0, 0.01, True, "1", "divider, uncalibrated"),
        "gain_current": Belief(1.0, 0.03, True, "1", "hall sensor, uncalibrated"),
        "gain_speed": Belief(1.0, 0.001, True, "1", "clock"),
        "gain_thrust": Belief(1.0, 0.02, True, "1", "load cell, uncalibrated"),
        "gain_torque": Belief(1.0, 0.02, True, "1", "load cell and arm, uncalibrated"),
        "gain_motor_current": Belief(1.0, 0.03, True, "1", "hall sensor, uncalibrated"),
        "gain_motor_voltage": Belief(1.0, 0.01, True, "1", "divider, uncalibrated"),
        "gain_winding_temperature": Belief(1.0, 0.01, True, "1", "sensor"),
        "offset_voltage": Belief(0.0, 0.05, False, "V", "uncalibrated"),
        "offset_current": Belief(0.0, 0.15, False, "A", "uncalibrated"),
        "offset_speed": Belief(0.0, 0.0, False, "rad/s", "a counter has no zero error"),
        "offset_thrust": Belief(0.0, 0.05, False, "N", "tared"),
        "offset_torque": Belief(0.0, 0.002, False, "N m", "tared"),
        "offset_motor_current": Belief(0.0, 0.15, False, "A", "uncalibrated"),
        "offset_motor_voltage": Belief(0.0, 0.05, False, "V", "uncalibrated"),
        "offset_winding_temperature": Belief(0.0, 2.0, False, "degC", "contact"),
        "delay": Belief(0.0, 0.004, False, "s", "about the lateness that the logs show"),
        "lag": Belief(0.02, math.log(1.5), True, "s", "first-order sensor, about what the logs show"),
        "jump": Belief(
            0.25, 0.35, False, "1", "of a late channel: a step falls anywhere between two samples"
        ),
        "supply_voltage": Belief(15.0, math.log(1.8), True, "V", "when no voltage was logged"),
        "row_scatter": Belief(
            0.012, math.log(2.0), True, "1", "scatter of a table's rows, relative to full scale"
        ),
    }
)
"""What is believed before any data, by parameter."""
