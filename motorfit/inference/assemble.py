"""From natural coordinates to the flat parameter vectors of the compiled model, for many draws at once."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import numpy.typing as npt

from motorfit.inference.graph import MEASURED, Graph, current_limit_of, limit_name
from motorfit.inference.priors import BELIEFS
from motorfit.inference.warming import NODES_S, warming_time
from motorfit.lanes import LANES
from motorfit.physics import slots as f
from motorfit.physics.air import air_density
from motorfit.physics.motor import back_emf_constant
from motorfit.quantities import JUMPING

__all__ = ["Assembled", "Values", "assemble", "derive"]

Array = npt.NDArray[np.float64]


class Values:
    """Natural values by name: a sampled row, or a constant that is known exactly; (draws,) each."""

    def __init__(self, graph: Graph, natural: Array) -> None:
        self._graph = graph
        self._natural = natural
        self.draws = natural.shape[1]
        self._derived: dict[str, dict[str, Array]] = {}

    def __getitem__(self, name: str) -> Array:
        column = self._graph.index.get(name)
        if column is not None:
            row: Array = self._natural[column]
            return row
        return np.full(self.draws, self._graph.fixed[name])

    def __contains__(self, name: str) -> bool:
        return name in self._graph.index or name in self._graph.fixed

    def limit(self, nominal_a: float) -> Array:
        """The limit of motor current of that nominal value, (draws,) [A]."""
        return np.asarray(self["limit_gain"] * self[limit_name(nominal_a)])

    def mass_g(self, id: str) -> float | None:
        """What a motor weighs [g], None where nobody weighed it."""
        return next(motor.mass_g for motor in self._graph.motors if motor.id == id)

    def motor(self, id: str) -> dict[str, Array]:
        """Parameters of a motor by their public names, derived ones included, SI but K_v in rpm/V."""
        if id not in self._derived:
            self._derived[id] = derive(self, id)
        return self._derived[id]


class Assembled:
    """Arrays for `motorfit.inference.kernels`: phys (runs, N_PHYSICS, draws), sens (5, N_CHANNELS, draws),
    volt (2, draws), draws being a whole number of LANES, the last one repeated."""

    def __init__(self, phys: Array, sens: Array, volt: Array) -> None:
        self.phys, self.sens, self.volt = phys, sens, volt


def derive(v: Values, id: str) -> dict[str, Array]:
    """A motor's parameters from its coordinates.

    K_t = ψ K_e; R is the total resistance less the controller's (not positive: impossible, NaN); the drag
    current is split by shares at the unloaded equilibrium at 10 V, ω₁₀ = (10 V - R I_0)/K_e.
    """
    kv, psi = v[f"kv[{id}]"], v[f"kt_kv_ratio[{id}]"]
    ke = back_emf_constant(kv)
    resistance = v[f"total_resistance[{id}]"] - v["controller_resistance"]
    resistance = np.where(resistance > 0.0, resistance, np.nan)
    i10 = v[f"no_load_current[{id}]"]
    omega10 = np.maximum(10.0 - resistance * i10, 0.5) / ke
    static = v[f"static_share[{id}]"]
    windage = v[f"windage_share[{id}]"]
    windage = windage / (1.0 + windage)
    out = {
        "kv": kv,
        "kt": psi * ke,
        "kt_kv_ratio": psi,
        "winding_resistance": resistance,
        "drag_current_static": static * i10,
        "drag_current_slope": (1.0 - static) * (1.0 - windage) * i10 / omega10,
        "drag_current_windage": (1.0 - static) * windage * i10 / omega10**2,
        "no_load_current": i10,
    }
    lighter = _lighter(v, id, out["kt"], resistance)
    out["saturation_current"] = _inverse_saturation(v, id, lighter) ** -0.5
    for node in NODES_S:
        out[f"{node}_heat_capacity"] = 1.0 / _inverse_heat_capacity(v, node, id, lighter)
    for name in (
        "rotor_inertia", "braking_share", "winding_time_constant", "body_time_constant",
        "magnet_temperature_coefficient",
    ):  # fmt: skip
        out[name] = v[f"{name}[{id}]"]
    return out


def _lighter(v: Values, id: str, kt: Array, resistance: Array) -> Array | float:
    """How much lighter than it is a motor of unknown mass is taken by its beliefs: those at 50 g [1].

    Nobody weighed it, but K_t/√R grows with the mass, and what a motor stores of heat and carries of flux
    follows: a wheel's motor does not warm as a racing motor of 50 g does.
    """
    if v.mass_g(id) is not None:
        return 1.0
    belief = BELIEFS["torque_per_root_watt"]
    with np.errstate(invalid="ignore"):
        mass_g = 35.0 * (kt / np.sqrt(resistance) / belief.center) ** (1.0 / 0.83)
    return np.asarray(50.0 / np.clip(mass_g, 1.0, 1e5))


def _inverse_saturation(v: Values, id: str, lighter: Array | float) -> Array:
    """1/I_s² [1/A²], all but zero where the motor does not saturate."""
    own = f"saturation_current[{id}]"
    return v[own] ** -2.0 if own in v else np.maximum(v[f"inverse_saturation[{id}]"] * lighter**2, 1e-12)


def _inverse_heat_capacity(v: Values, node: str, id: str, lighter: Array | float) -> Array:
    """1/C of a node [K/J], all but zero where it does not warm."""
    own = f"{node}_heat_capacity[{id}]"
    if own in v:
        return np.asarray(1.0 / v[own])
    warming = v[f"{node}_warming[{id}]"] / warming_time(node, v[f"{node}_time_constant[{id}]"])
    return np.maximum(warming * lighter, 1e-11)


@cache
def _density(temperature_c: float, pressure_hpa: float, humidity_pct: float) -> float:
    """Air density [kg/m³], which a fit asks for at every step."""
    return float(air_density(temperature_c, pressure_hpa, humidity_pct))


def assemble(graph: Graph, v: Values) -> Assembled:
    """Fill the arrays of the compiled model.

    Parameters
    ----------
    graph : the campaign's graph
    v : natural values of `draws` draws

    Returns
    -------
    Assembled
    """
    campaign = graph.campaign
    padded = -(-v.draws // LANES) * LANES
    phys = np.zeros((len(graph.runs), f.N_PHYSICS, padded))
    for p, r in zip(phys[..., : v.draws], graph.runs, strict=True):
        m = v.motor(r.run.motor)
        air = campaign.air_of(r.run)
        rho = _density(air.temperature_c, air.pressure_hpa, air.humidity_pct)
        p[f.P_KE], p[f.P_KT] = back_emf_constant(m["kv"]), m["kt"]
        p[f.P_R], p[f.P_RC] = m["winding_resistance"], v["controller_resistance"]
        p[f.P_I0], p[f.P_I1], p[f.P_I2] = (
            m["drag_current_static"],
            m["drag_current_slope"],
            m["drag_current_windage"],
        )
        p[f.P_SAT] = m["saturation_current"] ** -2.0
        p[f.P_BRAKE] = m["braking_share"]
        limit = current_limit_of(campaign, r.run)
        p[f.P_LIMIT] = 1e9 if limit is None else v.limit(limit)
        p[f.P_DUTY_S], p[f.P_DUTY_C], p[f.P_DUTY_E] = v["duty_slope"], v["duty_curvature"], v["duty_cubic"]
        p[f.P_IDLE] = v["controller_idle_current"]
        for node, slope, tau in (("winding", f.P_AW, f.P_TW), ("body", f.P_AB, f.P_TB)):
            p[tau] = m[f"{node}_time_constant"]
            p[slope] = 1.0 / m[f"{node}_heat_capacity"]
        p[f.P_MAG], p[f.P_AIR] = m["magnet_temperature_coefficient"], air.temperature_c
        stiffness = f"source_resistance[{r.run.id}]"
        if stiffness in v:
            p[f.P_RS] = np.maximum(v[stiffness], 0.0)
            stiffer = p[f.P_RS] - r.supply.resistance_ohm
            p[f.P_SHIFT] = v[f"source_level[{r.run.id}]"] + stiffer * r.supply.level_a
            p[f.P_DRIFT] = v[f"source_drift[{r.run.id}]"] + stiffer * r.supply.drift_a
        p[f.P_J] = m["rotor_inertia"]
        p[f.P_WREF] = 1.0
        if r.run.propeller is not None:
            prop = campaign.propeller(r.run.propeller)
            lever = rho * prop.diameter_m**4 / (2.0 * math.pi) ** 2
            p[f.P_CT] = v[f"thrust_coefficient[{prop.id}]"] * lever
            p[f.P_CQ] = v[f"torque_coefficient[{prop.id}]"] * lever * prop.diameter_m
            p[f.P_AT] = v[f"thrust_reynolds_exponent[{prop.id}]"]
            p[f.P_AQ] = v[f"torque_reynolds_exponent[{prop.id}]"]
            p[f.P_WREF] = 2.0 * math.pi * prop.reference_rev_per_s
            p[f.P_J] += v[f"prop_inertia[{prop.id}]"]
        else:
            p[f.P_TB] *= 4.0  # still air
        if r.run.flywheel is not None:
            wheel = campaign.flywheel(r.run.flywheel)
            p[f.P_J] += v[f"flywheel_inertia[{wheel.id}]"] / wheel.motor_turns_per_turn**2
        start = f"start_speed[{r.run.id}]"
        p[f.P_OMEGA0] = np.maximum(v[start], 0.0) if start in v else 0.0
        warmth = f"start_warmth[{r.run.id}]"
        p[f.P_WARMTH] = v[warmth] if warmth in v else np.zeros(v.draws)
        supply = f"supply_voltage[{r.run.id}]"
        p[f.P_SUPPLY] = v[supply] if supply in v else np.ones(v.draws)
    sens = np.zeros((5, f.N_CHANNELS, padded))
    sens[0] = 1.0
    for c, name in enumerate(MEASURED):
        for row, kind in zip(sens[:4, :, : v.draws], ("gain", "offset", "delay", "lag"), strict=True):
            row[c] = v[f"{kind}_{name}"]
        if name in JUMPING:
            sens[4, c, : v.draws] = v[f"jump_{name}"]
    volt = np.empty((2, padded))
    volt[:, : v.draws] = v["gain_voltage"], v["offset_voltage"]
    for filled in (phys, sens, volt):  # what is left of the last lanes repeats the last draw
        filled[..., v.draws :] = filled[..., v.draws - 1 : v.draws]
    return Assembled(phys, sens, volt)
