"""True parameters of a simulated bench, drawn.

With the spread "prior" they follow the table of priors of the model, so that ranks of the truth among
posterior draws can be tested; with "usual" they lie about the same centres, as narrowly as motors on sale do.
The numbers are written out here, apart from the inference; a test holds them against its table.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from motorfit.physics import motor as machine
from motorfit.physics import propeller as screw
from motorfit.synthetic.options import BenchOptions
from motorfit.synthetic.truth import TrueAir, TrueMotor, TruePropeller

Generator = np.random.Generator


def draw_air(rng: Generator) -> TrueAir:
    """Air of an ordinary day."""
    return TrueAir(
        temperature_c=round(rng.uniform(14.0, 26.0), 2),
        pressure_hpa=round(rng.uniform(985.0, 1025.0), 2),
        humidity_pct=round(rng.uniform(35.0, 70.0), 1),
    )


def within(rng: Generator, draw: Callable[[Generator], float], low: float, high: float) -> float:
    """Redraw until a value lies within bounds: a truncated distribution."""
    while True:
        value = float(draw(rng))
        if low <= value <= high:
            return value


def draw_motor(
    rng: Generator,
    id: str,
    options: BenchOptions,
    mass_g: float | None = None,
    label_kv: float | None = None,
) -> TrueMotor:
    """One motor; parameters by the names and units of `motorfit.quantities`.

    Mass [g] and label [rpm/V] are drawn as well where they are not given.
    """
    wide = options.spread == "prior"

    def scatter(usual: float, prior: float) -> float:
        return math.exp(rng.normal(0.0, prior if wide else usual))

    mass = round(rng.uniform(38.0, 65.0), 1) if mass_g is None else mass_g
    label = round(rng.uniform(850.0, 1500.0), -1) if label_kv is None else label_kv
    kv = label * (math.exp(0.08 * rng.standard_t(4.0)) if wide else scatter(0.02, 0.02))
    psi = within(
        rng, (lambda g: g.normal(0.96, 0.05)) if wide else (lambda g: g.normal(0.97, 0.015)), 0.75, 1.08
    )
    k_t = float(machine.torque_constant(kv, psi))
    resistance = (k_t / (0.020 * (mass / 35.0) ** 0.83 * scatter(0.15, 0.40))) ** 2
    i_10 = 0.9 * scatter(0.25, math.log(2.0))
    share = float(rng.beta(4.0, 3.0))
    windage = (1.0 - share) * _windage(rng, wide) if options.windage else 0.0
    omega_10 = (10.0 - resistance * i_10) / float(machine.back_emf_constant(kv))
    rest = 1.0 - options.excess_loss
    drag = (
        rest * share * i_10,
        rest * (1.0 - share - windage) * i_10 / omega_10,
        rest * windage * i_10 / omega_10**2,
    )
    parameters = {
        "kv": kv,
        "kt": k_t,
        "kt_kv_ratio": psi,
        "winding_resistance": resistance,
        "drag_current_static": drag[0],
        "drag_current_slope": drag[1],
        "drag_current_windage": drag[2],
        "no_load_current": i_10 if rest < 1.0 else float(machine.no_load_current(kv, resistance, *drag)),
        "rotor_inertia": 4e-6 * (mass / 50.0) ** 1.6 * scatter(0.25, math.log(2.0)),
        "braking_share": _braking(rng) if wide else float(rng.uniform(0.4, 1.0)),
        "magnet_temperature_coefficient": float(rng.normal(0.0011, 0.0001)),
    }
    if options.saturation:
        knee = 150.0 * mass / 50.0
        parameters["saturation_current"] = (
            knee * abs(float(rng.normal())) ** -0.5 if wide else knee * scatter(0.25, 0.0)
        )
    if options.heating:
        for node, capacity, tau, after in (("winding", 3.0, 6.0, 4.0), ("body", 25.0, 50.0, 10.0)):
            usual = scatter(0.2, 0.0)
            constant = tau * scatter(0.2, math.log(2.0))
            if wide:
                # half-normal is what a watt warms the node, as long as a ramp keeps it hot
                warming = abs(float(rng.normal())) * _warming_time(tau, after) / capacity
                usual = _warming_time(constant, after) / warming / capacity
            parameters[f"{node}_heat_capacity"] = capacity * mass / 50.0 * usual
            parameters[f"{node}_time_constant"] = constant
    return TrueMotor(id, mass, 7, label, parameters)


def _windage(rng: Generator, wide: bool) -> float:
    """Share of what of the no-load current is not static that grows with the square of speed [1]."""
    if not wide:
        return float(rng.uniform(0.05, 0.3))
    w = 0.12 * abs(float(rng.normal()))
    return w / (1.0 + w)


def _braking(rng: Generator) -> float:
    """Share of the braking current that a controller lets pass [1]: 1 less a half-normal, not below 0."""
    return within(rng, lambda g: 1.0 - 0.5 * abs(float(g.normal())), 0.0, 1.0)


def _warming_time(tau: float, after: float) -> float:
    """Warming per watt times heat capacity, ``after`` so many seconds, of a time constant ``tau`` [s]."""
    return -tau * math.expm1(-after / tau)


def draw_propeller(
    rng: Generator,
    id: str,
    diameter_in: float,
    pitch_in: float,
    blades: int,
    tested: bool,
    options: BenchOptions,
) -> TruePropeller:
    """One propeller of a given geometry.

    C_T grows with the pitch, as static tests of small propellers have it (docs/propellers.md, by J. B.
    Brandt, M. S. Selig, doi 10.2514/6.2011-1255). The table of priors has no pitch in it; where tested
    propellers are to follow that table, they have none either.
    """
    wide = options.spread == "prior"
    steeper = 0.0 if wide and tested else math.log(pitch_in / diameter_in / 0.5)

    def scatter(usual: float, prior: float) -> float:
        return math.exp(rng.normal(0.0, prior if wide else usual))

    c_t = 0.11 * (blades / 2.0) ** 0.6 * math.exp(steeper * (0.8 - 0.36 * steeper)) * scatter(0.12, 0.25)
    merit = 1.0 / (1.0 + math.exp(-(0.241 + rng.normal(0.0, 0.344 if wide else 0.2))))
    mass = round(9.3 * (diameter_in / 7.0) ** 2.4 * blades / 3.0 * float(rng.uniform(0.95, 1.05)), 2)
    diameter = 0.0254 * diameter_in
    parameters = {
        "thrust_coefficient": c_t,
        "torque_coefficient": float(screw.torque_coefficient(c_t, merit)),
        "figure_of_merit": merit,
        "thrust_reynolds_exponent": float(rng.normal(0.05, 0.05 if wide else 0.02))
        if options.reynolds
        else 0.0,
        "torque_reynolds_exponent": float(rng.normal(-0.06, 0.08 if wide else 0.03))
        if options.reynolds
        else 0.0,
        "prop_inertia": float(screw.inertia(mass * 1e-3, diameter, 0.18 * scatter(0.15, 0.25))),
    }
    return TruePropeller(id, diameter_in, pitch_in, blades, mass, parameters, tested)
