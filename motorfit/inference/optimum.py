"""The optimum, by lmfit on the residuals, with a batched Jacobian."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.errors import MotorfitError
from motorfit.inference.target import Target

__all__ = ["Optimum", "OptimumError", "find_optimum", "jacobian"]

Array = npt.NDArray[np.float64]


class OptimumError(MotorfitError):
    """No finite optimum: the runs contradict the model or one another."""


@dataclass(frozen=True)
class Optimum:
    """Where the posterior is highest.

    Attributes
    ----------
    z : (coordinates,) standardised position [-]
    factor : (coordinates, coordinates) L with L Lᵀ the Laplace covariance [-]
    chi2 : sum of squared residuals [-]
    evaluations : calls of the model
    condition : condition number of the whitened Jacobian
    """

    z: Array
    factor: Array
    chi2: float
    evaluations: int
    condition: float


def jacobian(target: Target, z: Array, step: float = 1e-5) -> Array:
    """Central differences of the residuals, all columns in one batch: (rows, coordinates)."""
    d = z.size
    batch = np.concatenate([z + step * np.eye(d), z - step * np.eye(d)])
    rows = target.residuals(batch)
    return np.asarray((rows[:d] - rows[d:]).T / (2.0 * step))


def find_optimum(target: Target, start: Array, *, most: int = 60, robust: bool = False) -> Optimum:
    """Minimise the residuals from a start.

    Parameters
    ----------
    target : the posterior
    start : (coordinates,) standardised start [-]
    most : steps allowed
    robust : True where the noise is not yet known: residuals beyond a few deviations then pull by their logarithm
        only, so that a glitch in a log does not bend everything else

    Raises
    ------
    OptimumError : no finite residuals at the start, or a Jacobian that cannot be inverted
    """
    from lmfit import Minimizer, Parameters

    first = target.residuals(start[None, :])[0]
    if not np.isfinite(first).all():
        raise OptimumError(
            "The model has no finite prediction at the start of the fit. Run `motorfit check` on the campaign: "
            "a unit slip or a wrong pole count is the usual cause."
        )
    names = [f"z{i}" for i in range(start.size)]
    parameters = Parameters()
    for name, value in zip(names, start, strict=True):
        parameters.add(name, value=float(value))

    def position(p: Parameters) -> Array:
        return np.fromiter((p[name].value for name in names), dtype=np.float64, count=len(names))

    def residual(p: Parameters) -> Array:
        rows = target.residuals(position(p)[None, :])[0]
        return np.where(np.isfinite(rows), rows, 1e6)

    def derivative(p: Parameters) -> Array:
        return np.nan_to_num(jacobian(target, position(p)), nan=0.0, posinf=0.0, neginf=0.0)

    fit = Minimizer(residual, parameters, scale_covar=False, calc_covar=False).minimize(
        method="least_squares", jac=derivative, x_scale=1.0, max_nfev=most, ftol=1e-7, xtol=1e-7, gtol=1e-5,
        loss="cauchy" if robust else "linear", f_scale=5.0,
    )
    z = position(fit.params)
    return laplace(target, z, int(fit.nfev))


def laplace(target: Target, z: Array, evaluations: int = 0) -> Optimum:
    """The Gauss-Newton Laplace approximation at a position."""
    rows = target.residuals(z[None, :])[0]
    j = jacobian(target, z)
    if not (np.isfinite(rows).all() and np.isfinite(j).all()):
        raise OptimumError(
            "The fit ended where the model has no finite prediction. Run `motorfit check`, and look for a run that "
            "contradicts the others."
        )
    u, s, vt = np.linalg.svd(j, full_matrices=False)
    del u
    if s[-1] <= 1e-10 * s[0]:
        raise OptimumError("The runs and priors leave a direction undetermined; widen no prior to infinity.")
    factor = vt.T / s
    return Optimum(z, factor, float(rows @ rows), evaluations, float(s[0] / s[-1]))
