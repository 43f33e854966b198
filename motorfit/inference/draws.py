"""Draws by public name and unit, from posterior and prior positions."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from motorfit.bench.models import Motor
from motorfit.inference.assemble import Values
from motorfit.inference.combine import PSI_LEAST, PSI_MOST, figure_of_merit
from motorfit.inference.graph import MEASURED, Graph, mass_factor
from motorfit.inference.priors import ABSENT, BELIEFS, Flat
from motorfit.physics.motor import back_emf_constant
from motorfit.physics.propeller import torque_coefficient

__all__ = ["parameters_of", "prior_positions"]

Array = npt.NDArray[np.float64]

_PROPELLER = (
    "thrust_coefficient", "torque_coefficient", "thrust_reynolds_exponent", "torque_reynolds_exponent",
    "prop_inertia",
)  # fmt: skip


def parameters_of(graph: Graph, v: Values, motor: str, shape: tuple[int, int]) -> dict[str, Array]:
    """Everything learned that concerns a motor.

    Parameters
    ----------
    graph, v : the campaign and natural values of its draws
    motor : id
    shape : (chains, draws) of the result

    Returns
    -------
    name of the quantities table -> (chains, draws), or (chains, draws, propellers)
    """
    out = {name: row.reshape(shape) for name, row in v.motor(motor).items()}
    propellers = [p.id for p in graph.campaign.propellers]
    if propellers:
        for name in _PROPELLER:
            out[name] = np.stack([v[f"{name}[{p}]"].reshape(shape) for p in propellers], axis=-1)
        out["figure_of_merit"] = np.stack([figure_of_merit(v, p).reshape(shape) for p in propellers], axis=-1)
    wheels = graph.campaign.flywheels
    if len(wheels) == 1:
        out["flywheel_inertia"] = v[f"flywheel_inertia[{wheels[0].id}]"].reshape(shape)
    for name in (
        "controller_resistance",
        "controller_idle_current",
        "duty_slope",
        "duty_curvature",
        "duty_cubic",
    ):
        out[name] = v[name].reshape(shape)
    limit = graph.campaign.bench.controller.current_limit_a
    if limit is not None:
        out["current_limit"] = v.limit(limit).reshape(shape)
    for channel in ("voltage", *MEASURED):
        for kind in ("gain", "offset", "delay", "lag", "jump"):
            if f"{kind}_{channel}" in graph.index:
                out[f"{kind}_{channel}"] = v[f"{kind}_{channel}"].reshape(shape)
    return out


def prior_positions(graph: Graph, rng: np.random.Generator, draws: int) -> Array:
    """Draws from the prior, (draws, coordinates).

    Coordinates whose belief is stated on a combination are solved for from draws of that combination.
    """
    uniform = rng.random((draws, graph.size))
    z = np.zeros((draws, graph.size))
    for i, c in enumerate(graph.coordinates):
        if not isinstance(c.prior, Flat):
            z[:, i] = c.prior.inverse_cdf(uniform[:, i])
    idle = graph.index.get("controller_idle_current")
    if idle is not None:
        z[rng.random(draws) < ABSENT, idle] = 0.0
    v = Values(graph, graph.natural(z))

    def put(name: str, value: Array) -> None:
        i = graph.index[name]
        z[:, i] = (np.log(value) - graph.coordinates[i].center) / graph.coordinates[i].scale

    own = graph.campaign.priors

    def stated(name: str) -> Array | None:
        belief = own.get(name)
        if belief is None:
            return None
        unit = rng.standard_normal(draws)
        if belief.factor is not None:
            return np.asarray(belief.center * np.exp(belief.log_sd * unit))
        return np.abs(belief.center + (belief.sd or 0.0) * unit)

    for motor in graph.motors:
        ke = back_emf_constant(v[f"kv[{motor.id}]"])
        kt = stated("kt")
        psi = stated("kt_kv_ratio") if kt is None else kt / ke
        psi = _ratio(rng, draws) if psi is None else np.clip(psi, PSI_LEAST, PSI_MOST)
        put(f"kt_kv_ratio[{motor.id}]", psi)
        resistance = stated("winding_resistance")
        if resistance is None:
            resistance = (psi * ke / _torque_per_root_watt(motor, rng, draws)) ** 2
        put(f"total_resistance[{motor.id}]", resistance + v["controller_resistance"])
    belief = BELIEFS["figure_of_merit"]
    for propeller in graph.campaign.propellers:
        merit = stated("figure_of_merit")
        if merit is None:
            center = math.log(belief.center / (1.0 - belief.center))
            merit = 1.0 / (1.0 + np.exp(-center - belief.spread * rng.standard_normal(draws)))
        ct = v[f"thrust_coefficient[{propeller.id}]"]
        cq = stated("torque_coefficient")
        if cq is None:
            cq = np.asarray(torque_coefficient(ct, np.clip(merit, 0.01, 0.999)))
        put(f"torque_coefficient[{propeller.id}]", cq)
    return z


def _ratio(rng: np.random.Generator, draws: int) -> Array:
    """ψ from its normal cut to the possible range, by inverse transform [1]."""
    from scipy.special import ndtr, ndtri

    belief = BELIEFS["kt_kv_ratio"]
    low, high = (ndtr((edge - belief.center) / belief.spread) for edge in (PSI_LEAST, PSI_MOST))
    return np.asarray(belief.center + belief.spread * ndtri(low + (high - low) * rng.random(draws)))


def _torque_per_root_watt(motor: Motor, rng: np.random.Generator, draws: int) -> Array:
    belief = BELIEFS["torque_per_root_watt"]
    spread = belief.spread if motor.mass_g is not None else 1.1
    center = belief.center * mass_factor(motor, 35.0) ** 0.83
    return np.asarray(center * np.exp(spread * rng.standard_normal(draws)))
