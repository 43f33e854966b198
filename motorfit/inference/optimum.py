"""The optimum, by lmfit on the residuals, with a batched Jacobian."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.errors import MotorfitError
from motorfit.inference.differences import linearise
from motorfit.inference.priors import HalfNormal, Prior
from motorfit.inference.target import Target

__all__ = ["Optimum", "OptimumError", "bounds_of", "find_first_optimum", "find_optimum", "laplace"]

Array = npt.NDArray[np.float64]

_SOFT = 5.0
"""Standard deviations from which a robust search gives way."""

_NARROW, _WIDE, _SHARE = 1e-5, 0.03, 0.5
"""Steps of the last derivatives [-]: least, most, and of how many deviations of the residuals."""

_AGREE = 0.01
"""Difference of slopes over least and over such steps up to which the former, the truer, are kept [1]."""

_FAR = 1e9
"""What an impossible prediction counts as, in standard deviations."""

_INSIDE = 0.02
"""How far from a bound a search starts at most: on it, the first step would have no room."""


_STARTS = ((0.1, 0.0), (0.4, 0.0), (0.1, 1.5))
"""Warming, and what makes a motor heavy, of each start, standardised [-]."""

_HEAVY = ("rotor_inertia", "no_load_current", "total_resistance")
_FOLLOWED = 15
"""Steps after which starts are compared."""


class OptimumError(MotorfitError):
    """No finite optimum: the runs contradict the model or one another."""


@dataclass(frozen=True)
class Optimum:
    """Where the posterior is highest.

    Attributes
    ----------
    z : (coordinates,) standardised position, within bounds [-]
    centre : (coordinates,) minimum of the quadratic fitted there, which may lie beyond a bound [-]
    factor : (coordinates, coordinates) L with L Lᵀ the Laplace covariance [-]
    residuals : (rows,) of data and priors at z [-]
    jacobian : (rows, coordinates) of them [-]
    chi2 : sum of squared residuals [-]
    evaluations : calls of the model
    condition : condition number of the whitened Jacobian
    """

    z: Array
    centre: Array
    factor: Array
    residuals: Array
    jacobian: Array
    chi2: float
    evaluations: int
    condition: float


@dataclass(frozen=True)
class _Place:
    """What a search knows of a position: |r|, and JᵀJ (d, d) and Jᵀr (d,) of its residuals [-]."""

    length: float
    gram: Array
    pull: Array


def _place(target: Target, z: Array, robust: bool) -> _Place:
    linear = linearise(target, z)
    data, rate = _softened(linear.data, robust)
    beliefs = _finite(linear.beliefs)
    gram, pull = linear.products(data, rate, beliefs)
    return _Place(math.sqrt(float(data @ data + beliefs @ beliefs)), gram, pull)


def _finite(rows: Array) -> Array:
    return np.clip(np.where(np.isnan(rows), _FAR, rows), -_FAR, _FAR)


def _softened(rows: Array, robust: bool) -> tuple[Array, Array]:
    """Residuals of readings (rows,), if `robust` grown no faster than a logarithm's root beyond a few
    deviations (Cauchy's loss), and how fast each grows (rows,).

    Those of the priors never are: what the data then say would no longer be held anywhere.
    """
    rows = _finite(rows)
    if not robust:
        return rows, np.ones(rows.size)
    u = np.maximum(np.abs(rows) / _SOFT, 1e-9)
    root = np.sqrt(np.log1p(u * u))
    return np.sign(rows) * _SOFT * root, u / (root * (1.0 + u * u))


def _condensed(place: _Place) -> Array:
    """A small Jacobian of (|r|, 0, 0, ...) with the products JᵀJ and Jᵀr of the large one.

    The search uses nothing else of thousands of rows.  In an orthonormal basis that begins with r/|r| the
    residual is its length alone; the rest of J enters by a Cholesky factor.
    """
    along = place.pull / max(place.length, 1e-300)
    rest = place.gram - np.outer(along, along)
    ridge = 1e-12 * float(np.trace(rest)) + 1e-12
    return np.concatenate([along[None, :], np.linalg.cholesky(rest + ridge * np.eye(along.size)).T])


def bounds_of(prior: Prior) -> tuple[float, float]:
    """Where a coordinate's prior ends [-]."""
    return (0.0, prior.top) if isinstance(prior, HalfNormal) else (-np.inf, np.inf)


def find_optimum(target: Target, start: Array, *, most: int = 60, robust: bool = False) -> tuple[Array, int]:
    """Minimise the residuals from a start.

    Parameters
    ----------
    target : the posterior
    start : (coordinates,) standardised start [-]
    most : steps allowed
    robust : True where the noise is not yet known: residuals beyond a few deviations then pull by their
        logarithm only, so that a glitch in a log does not bend everything else

    Returns
    -------
    ((coordinates,) position [-], evaluations)

    Raises
    ------
    OptimumError : no finite residuals at the start
    """
    from lmfit import Minimizer, Parameters

    if not np.isfinite(target.residuals(start[None, :])).all():
        raise OptimumError(
            "The model has no finite prediction at the start of the fit. Run `motorfit check` on the "
            "campaign: a unit slip or a wrong pole count is the usual cause."
        )
    names = [f"z{i}" for i in range(start.size)]
    # within what the data allow: a step further inside may be many of a coordinate's standard deviations
    room = np.minimum(0.5 / np.sqrt(np.diag(_place(target, start, robust).gram)).clip(1e-12), _INSIDE)
    parameters = Parameters()
    for name, value, coordinate, step in zip(names, start, target.graph.coordinates, room, strict=True):
        low, high = bounds_of(coordinate.prior)
        inside = float(value) if math.isinf(low) else min(max(float(value), low + step), high - step)
        parameters.add(name, value=inside, min=low, max=high)

    def position(p: Parameters) -> Array:
        # on a grid far finer than any step that matters: the last digits of the search's linear algebra
        # depend on where arrays lie in memory, and the same seed must give the same bytes
        z = np.fromiter((p[name].value for name in names), dtype=np.float64, count=len(names))
        return np.round(z, 8)

    at: list[tuple[Array, _Place]] = []

    def here(p: Parameters) -> _Place:
        # the search asks for the residuals of a place first, and of most for their derivatives next
        z = position(p)
        if not (at and np.array_equal(at[0][0], z)):
            at[:] = [(z, _place(target, z, robust))]
        return at[0][1]

    def length(p: Parameters) -> Array:
        out = np.zeros(start.size + 1)
        out[0] = here(p).length
        return out

    def derivative(p: Parameters) -> Array:
        return _condensed(here(p))

    fit = Minimizer(length, parameters, scale_covar=False, calc_covar=False).minimize(
        method="least_squares", jac=derivative, x_scale=1.0, max_nfev=most, ftol=1e-4 if robust else 1e-6,
        xtol=1e-5, gtol=1e-5,
    )  # fmt: skip
    end = position(fit.params)
    now, then = (_height(target, z, robust) for z in (end, start))
    return (end if now <= then else start), int(fit.nfev)


def _height(target: Target, z: Array, robust: bool) -> float:
    """Sum of squares of residuals at a position, those of readings softened if `robust`."""
    at = z[None, :]
    data, _ = _softened(target.data_residuals(at)[0], robust)
    return float(data @ data + np.sum(_finite(target.belief_residuals(at)[0]) ** 2))


def find_first_optimum(target: Target) -> tuple[Array, int]:
    """The lowest robust optimum found from several starts, noise being that of the logs alone.

    Heating, friction and inertia explain a curve of speed in more than one way: a few benches in a hundred
    have a second optimum, higher by a fifth and far from the truth. Starts that warm little or much, and one
    with a heavy motor, are followed for some steps, and the best of them to its end.

    Returns
    -------
    ((coordinates,) position [-], evaluations);  raises as `find_optimum`
    """
    names = [c.name.split("[", 1)[0] for c in target.graph.coordinates]
    starts = []
    for warming, heavy in _STARTS:
        z = target.graph.start()
        z[[name.endswith("_warming") for name in names]] = warming
        z[[name in _HEAVY for name in names]] = heavy
        starts.append(z)
    with ThreadPoolExecutor(len(starts)) as threads:  # most of a step is compiled, without the lock
        tried = list(threads.map(lambda z: find_optimum(target, z, most=_FOLLOWED, robust=True), starts))
    best = min((z for z, _ in tried), key=lambda z: _height(target, z, True))
    end, more = find_optimum(target, best, robust=True)
    return end, more + sum(spent for _, spent in tried)


def _apart(first: Array, second: Array) -> float:
    """Largest difference of a column (rows, d) of one Jacobian from another's, relative to it [1]."""
    return float(np.max(np.linalg.norm(first - second, axis=0) / np.linalg.norm(second, axis=0).clip(1e-300)))


def laplace(target: Target, z: Array, evaluations: int = 0) -> Optimum:
    """The Gauss-Newton Laplace approximation at a position.

    Raises
    ------
    OptimumError : the model has no finite prediction there, or a direction is left undetermined
    """
    steps = np.full(z.size, _NARROW)
    linear = linearise(target, z, steps=steps)
    if np.isfinite(linear.jacobian).all():
        # over what the data allow: where a controller lets go of its limit between two samples, a reading
        # bends, and slopes of its two sides, some of one and some of the other, would tell what no data do
        steps = np.clip(_SHARE / np.linalg.norm(linear.jacobian, axis=0), _NARROW, _WIDE)
        wide = linearise(target, z, steps=steps)
        if np.isfinite(wide.jacobian).all() and _apart(linear.jacobian, wide.jacobian) > _AGREE:
            linear = wide
    rows, j = linear.residuals, linear.jacobian
    if not (np.isfinite(rows).all() and np.isfinite(j).all()):
        raise OptimumError(
            "The fit ended where the model has no finite prediction. Run `motorfit check`, and look for a "
            "run that contradicts the others."
        )
    _, s, vt = np.linalg.svd(j, full_matrices=False)
    if s[-1] <= 1e-10 * s[0]:
        raise OptimumError("The runs and priors leave a direction undetermined; widen no prior to infinity.")
    factor = vt.T / s
    # where bounds hold nothing back this step is all but zero; elsewhere it says where the quadratic would go
    centre = z - factor @ (factor.T @ (j.T @ rows))
    return Optimum(z, centre, factor, rows, j, float(rows @ rows), evaluations, float(s[0] / s[-1]))
