"""The information limit: how narrow the posterior could be, by the model's derivatives at the truth.

The posterior's precision there is that of priors and data together, JᵀJ of whitened residuals
(Gauss-Newton), with the noise that the fit has learned. Where an effect is absent the truth lies on a bound;
the limit is then that of a plain normal, wider than the half of it that a posterior can use.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from motorfit.inference.draws import parameters_of
from motorfit.inference.graph import LOG, LOGIT, Coordinate
from motorfit.inference.optimum import laplace
from motorfit.inference.target import Target
from motorfit.inference.warming import NODES_S, warming_time
from motorfit.physics.motor import back_emf_constant
from motorfit.synthetic.truth import TrueMotor, Truth

__all__ = ["information_limit", "true_position"]

Array = npt.NDArray[np.float64]

_STEP = 0.02
"""Of the derivatives of parameters along the limit's directions, in standard deviations [1]."""


def true_position(target: Target, truth: Truth) -> Array:
    """Standardised coordinates of the truth, (coordinates,); the prior's centre where nothing is true."""
    natural: dict[str, float] = dict(truth.stand)
    for motor in truth.motors.values():
        natural |= {f"{name}[{motor.id}]": x for name, x in _of_motor(motor, truth).items()}
    for screw in truth.propellers.values():
        natural |= {f"{name}[{screw.id}]": x for name, x in screw.parameters.items()}
    natural |= {f"flywheel_inertia[{f.id}]": f.inertia_kg_m2 for f in truth.flywheels.values()}
    declared = target.graph.campaign.bench.controller.current_limit_a
    z = np.zeros(target.graph.size)
    if declared is not None:
        natural["limit_gain"] = truth.stand["current_limit"] / declared
    for i, c in enumerate(target.graph.coordinates):
        if c.name in natural:
            z[i] = _standard(c, natural[c.name])
    return z


def _standard(c: Coordinate, value: float) -> float:
    if c.kind == LOG:
        value = float(np.log(max(value, 1e-300)))
    elif c.kind == LOGIT:
        value = float(np.log(value) - np.log1p(-value))
    return (value - c.center) / c.scale


def _of_motor(motor: TrueMotor, truth: Truth) -> dict[str, float]:
    """A motor in the fit's coordinates."""
    p = motor.parameters
    out = dict(p)
    i10 = p["no_load_current"]
    omega10 = (10.0 - p["winding_resistance"] * i10) / float(back_emf_constant(p["kv"]))
    static = p["drag_current_static"] / i10
    windage = p["drag_current_windage"] * omega10**2 / i10 / (1.0 - static)
    out |= {
        "total_resistance": p["winding_resistance"] + truth.stand["controller_resistance"],
        "static_share": static,
        "windage_share": windage / (1.0 - windage),
        "inverse_saturation": p.get("saturation_current", np.inf) ** -2.0,
    }
    for node in NODES_S:
        capacity = p.get(f"{node}_heat_capacity")
        tau = p.get(f"{node}_time_constant", 1.0)
        out[f"{node}_warming"] = 0.0 if capacity is None else float(warming_time(node, tau)) / capacity
    return out


def information_limit(target: Target, z: Array, motor: str) -> dict[str, Array]:
    """Standard deviation of each parameter of a motor in the limit, () or (propellers,), in its unit.

    Parameters
    ----------
    target : the posterior, its noise learned
    z : (coordinates,) the truth
    motor : id

    Raises
    ------
    OptimumError : the model has no finite prediction at the truth
    """
    factor = laplace(target, z).factor
    d = z.size
    both = np.concatenate([z + _STEP * factor.T, z - _STEP * factor.T])
    values = parameters_of(target.graph, target.values(both), motor, (1, 2 * d))
    out = {}
    for name, rows in values.items():
        slope = (rows[0, :d] - rows[0, d:]) / (2.0 * _STEP)
        out[name] = np.sqrt(np.sum(slope**2, axis=0))
    return out
