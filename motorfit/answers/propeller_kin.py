"""What propellers have in common: static coefficients from diameter, pitch and blades, with their scatter.

Four numbers describe a propeller: log C_T, logit of the figure of merit, and the exponents of C_T and C_Q
with speed, all where n D² is `LIKENESS` (equal n D² is nearly equal Reynolds number at equal shape, so
that small and large propellers are compared alike). Their means are polynomials of log pitch ratio, log
blades and log diameter. What is left is a part shared by like propellers (a family, or whatever one bench
buys) and each propeller's own. Numbers: `propeller_numbers`, fitted by `benchmarks/propeller_geometry.py`
to published static tests.

A library's own propellers sharpen the means: the model is normal, so the answer is closed: the
coefficients of an untested propeller given those of the tested ones, draw by draw. How alike the library's
propellers are, and how much each scatters, is not known beforehand; both are weighed over a small grid by
the likelihood of the tested ones (A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, ch. 5, on
partial pooling).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from motorfit.answers.posterior import FloatArray
from motorfit.answers.propeller_numbers import OWN_COVARIANCE, PRIOR_COVARIANCE, PRIOR_MEAN

LIKENESS = 6.0
"""n D² [m²/s] at which propellers are compared; 5 inch at 372 rev/s, 10 inch at 93 rev/s."""

COMPONENTS = 4
CENTRE_PITCH_RATIO = 0.5
CENTRE_DIAMETER_M = 0.2
STAND_SD = (0.025, 0.020, 0.0, 0.0)
"""Doubt that a stand adds to log C_T and logit FM: blockage and recirculation take 1 to 5 % of the thrust."""
UNIT_SD = (0.02, 0.045, 0.0, 0.0)
"""Scale of the half-normal spread between units of one type: C_T 2 %, a logit that leaves C_Q 3 to 4 %."""

# Share of the families' scatter that propellers of one library have in common, and scale of what is each
# one's own, with their weights before any test. A library mixes makers, so a small share is likelier than
# a large one; the published tests are of one careful laboratory, so scales above 1 are as likely as below.
SHARES = ((0.1, 0.5), (0.5, 0.3), (0.9, 0.2))
SCALES = ((0.5, 0.1), (0.7, 0.2), (1.0, 0.35), (1.4, 0.25), (2.0, 0.1))
_ROOT = 0.5 * math.log(2.0 / math.pi)


@dataclass(frozen=True)
class Model:
    """What is known of propellers before any of the library's.

    Attributes
    ----------
    mean, covariance : (18,), (18, 18) of the design's 14 coefficients and of the four shifts a library has
        in common
    own : (4, 4) scatter of a propeller about its family
    """

    mean: FloatArray
    covariance: FloatArray
    own: FloatArray


SHIPPED = Model(PRIOR_MEAN, PRIOR_COVARIANCE, OWN_COVARIANCE)


@dataclass(frozen=True)
class Geometry:
    """Diameter and pitch [m], number of blades."""

    diameter_m: float
    pitch_m: float
    blades: int

    @property
    def reference_rev_per_s(self) -> float:
        """Speed [rev/s] at which n D² is `LIKENESS`."""
        return LIKENESS / self.diameter_m**2


def design(geometry: Geometry) -> FloatArray:
    """Return the row block (4, 14) that makes the four means of a geometry out of the coefficients."""
    pitch = math.log(geometry.pitch_m / geometry.diameter_m / CENTRE_PITCH_RATIO)
    blades = math.log(geometry.blades / 2.0)
    size = math.log(geometry.diameter_m / CENTRE_DIAMETER_M)
    block = np.zeros((COMPONENTS, 14))
    block[0, 0:5] = block[1, 5:10] = (1.0, pitch, pitch * pitch, blades, size)
    block[2, 10:12] = block[3, 12:14] = (1.0, pitch)
    return block


def to_components(
    thrust: FloatArray,
    torque: FloatArray,
    thrust_exponent: FloatArray,
    torque_exponent: FloatArray,
    log_speed: float,
) -> FloatArray:
    """Return (..., 4) components of coefficients that hold a factor exp(``log_speed``) below `LIKENESS`."""
    log_thrust = np.log(thrust) + thrust_exponent * log_speed
    log_torque = np.log(torque) + torque_exponent * log_speed
    log_merit = _ROOT + 1.5 * log_thrust - math.log(2.0 * math.pi) - log_torque
    # A figure of merit cannot pass 1; a draw that does, at a speed far from its own, is held just below.
    merit = np.minimum(np.exp(log_merit), 0.97)
    logit = np.log(merit / (1.0 - merit))
    return np.stack([log_thrust, logit, thrust_exponent, torque_exponent], axis=-1)


def from_components(values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return C_T, C_Q and their exponents at `LIKENESS` of components (..., 4)."""
    thrust = np.exp(values[..., 0])
    merit = 1.0 / (1.0 + np.exp(-values[..., 1]))
    torque = math.exp(_ROOT) * thrust**1.5 / (2.0 * math.pi * merit)
    return thrust, torque, values[..., 2], values[..., 3]


@dataclass(frozen=True)
class Known:
    """A tested propeller.

    Attributes
    ----------
    geometry : its diameter, pitch, blades
    components : (S, 4) draws, row i belonging with row i of the fit that is asked
    learned : which of the four the tests taught; the others are left out
    stand : names the stand; propellers of one stand share its systematic doubt
    """

    geometry: Geometry
    components: FloatArray
    learned: tuple[bool, bool, bool, bool]
    stand: str


def sharpened(
    geometry: Geometry,
    known: Sequence[Known],
    stand: str,
    size: int,
    rng: np.random.Generator,
    model: Model = SHIPPED,
) -> FloatArray:
    """Draw the components (size, 4) of an untested propeller on a stand, given the tested ones.

    Rows of ``known`` are data of their row: pooling is done row by row, so whatever a row's gains and
    heats did to the tested coefficients passes on to the untested one. The order of ``known`` makes no
    difference. With none, draws of the shipped prior.
    """
    normal = rng.standard_normal((size, COMPONENTS))
    chance = rng.random(size)
    tested = sorted((k for k in known if any(k.learned)), key=_order)
    cells = [(share, scale, p * q) for share, p in SHARES for scale, q in SCALES]
    blocks = [_block(model, geometry, tested, stand, share, scale) for share, scale, _ in cells]
    values = _values(tested, size)
    log_weight = np.stack(
        [math.log(w) + b.log_likelihood(values) for (_, _, w), b in zip(cells, blocks, strict=True)]
    )
    weight = np.exp(log_weight - log_weight.max(axis=0))
    edges = np.cumsum(weight / weight.sum(axis=0), axis=0)
    cell = np.minimum((chance > edges).sum(axis=0), len(cells) - 1)
    drawn = np.empty((size, COMPONENTS))
    for index, block in enumerate(blocks):
        rows = cell == index
        drawn[rows] = block.mean(values[rows]) + normal[rows] @ block.root.T
    return drawn


@dataclass(frozen=True)
class _Block:
    """The normal of an untested propeller given tested ones, for one share and scale."""

    target: FloatArray  # (4,) mean before any test
    centre: FloatArray  # (q,) mean of what was tested
    gain: FloatArray  # (4, q)
    root: FloatArray  # (4, 4), root of the covariance that is left
    whiten: FloatArray | None  # (q, q) lower, makes what was tested standard normal; None without any

    def mean(self, values: FloatArray) -> FloatArray:
        return self.target + (values - self.centre) @ self.gain.T

    def log_likelihood(self, values: FloatArray) -> FloatArray:
        if self.whiten is None:
            return np.zeros(len(values))
        white = (values - self.centre) @ self.whiten.T
        density: FloatArray = np.log(np.diag(self.whiten)).sum() - 0.5 * np.einsum("sq,sq->s", white, white)
        return density


def _block(
    model: Model, geometry: Geometry, tested: Sequence[Known], stand: str, share: float, scale: float
) -> _Block:
    """Joint normal of target and tested propellers, then conditioned."""
    count = len(tested) + 1
    rows = [design(g) for g in (geometry, *(k.geometry for k in tested))]
    shared = math.sqrt(share)
    loading = np.concatenate([np.concatenate([r, shared * np.eye(COMPONENTS)], axis=1) for r in rows])
    steady = np.concatenate([np.concatenate([r, np.eye(COMPONENTS)], axis=1) for r in rows])
    mean = steady @ model.mean
    family = model.covariance[14:, 14:]
    own = scale**2 * (model.own + (1.0 - share) * family)
    covariance = loading @ model.covariance @ loading.T + np.kron(np.eye(count), own)
    stands = [stand, *(k.stand for k in tested)]
    alike = np.array([[a == b for b in stands] for a in stands], dtype=np.float64)
    covariance += np.kron(alike, np.diag(np.square(STAND_SD)))
    taken = COMPONENTS + np.flatnonzero([flag for k in tested for flag in k.learned])
    target, centre = mean[:COMPONENTS], mean[taken]
    left = covariance[:COMPONENTS, :COMPONENTS]
    if not taken.size:
        return _Block(target, centre, np.zeros((COMPONENTS, 0)), np.linalg.cholesky(left), None)
    cross = covariance[:COMPONENTS, taken]
    root = np.linalg.cholesky(covariance[np.ix_(taken, taken)])
    whiten = solve_triangular(root, np.eye(len(taken)), lower=True)
    half = cross @ whiten.T
    return _Block(target, centre, half @ whiten, np.linalg.cholesky(left - half @ half.T), whiten)


def _values(tested: Sequence[Known], size: int) -> FloatArray:
    if not tested:
        return np.zeros((size, 0))
    every = np.concatenate([k.components for k in tested], axis=1)
    return every[:, np.flatnonzero([flag for k in tested for flag in k.learned])]


def _order(known: Known) -> tuple[str, float, float, int, float]:
    g = known.geometry
    return (known.stand, g.diameter_m, g.pitch_m, g.blades, float(known.components[:, 0].sum()))
