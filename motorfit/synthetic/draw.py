"""True parameters of a simulated bench, drawn.

With the spread "prior" they follow the table of priors of the model, so that ranks of the truth among
posterior draws can be tested; with "usual" they lie about the same centres, as narrowly as motors on sale do.
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
    windage = (1.0 - share) * rng.uniform(0.05, 0.3) if options.windage else 0.0
    omega_10 = (10.0 - resistance * i_10) / float(machine.back_emf_constant(kv))
    drag = (
        share * i_10,
        (1.0 - share - windage) * i_10 / omega_10,
        windage * i_10 / omega_10**2,
    )
    parameters = {
        "kv": kv,
        "kt": k_t,
        "kt_kv_ratio": psi,
        "winding_resistance": resistance,
        "drag_current_static": drag[0],
        "drag_current_slope": drag[1],
        "drag_current_windage": drag[2],
        "no_load_current": float(machine.no_load_current(kv, resistance, *drag)),
        "rotor_inertia": 4e-6 * (mass / 50.0) ** 1.6 * scatter(0.25, math.log(2.0)),
        "braking_share": float(rng.uniform(0.4, 1.0)),
        "magnet_temperature_coefficient": float(rng.normal(0.0011, 0.0001)),
    }
    if options.saturation:
        parameters["saturation_current"] = 150.0 * mass / 50.0 * scatter(0.25, 0.35)
    if options.heating:
        parameters |= {
            "winding_heat_capacity": 3.0 * mass / 50.0 * scatter(0.2, 0.4),
            "winding_time_constant": 6.0 * scatter(0.2, math.log(2.0)),
            "body_heat_capacity": 25.0 * mass / 50.0 * scatter(0.2, 0.4),
            "body_time_constant": 50.0 * scatter(0.2, math.log(2.0)),
        }
    return TrueMotor(id, mass, 7, label, parameters)


def draw_propeller(
    rng: Generator,
    id: str,
    diameter_in: float,
    pitch_in: float,
    blades: int,
    tested: bool,
    options: BenchOptions,
) -> TruePropeller:
    """One propeller of a given geometry."""
    wide = options.spread == "prior"

    def scatter(usual: float, prior: float) -> float:
        return math.exp(rng.normal(0.0, prior if wide else usual))

    c_t = 0.11 * (blades / 2.0) ** 0.6 * scatter(0.12, 0.25)
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
