"""What propellers have in common: static coefficients from diameter, pitch and blades, with their scatter.

Four numbers describe a propeller: log C_T, logit of the figure of merit, and the exponents of C_T and C_Q
with speed, all where n D² is `LIKENESS` (equal n D² is nearly equal Reynolds number at equal shape, so
that small and large propellers are compared alike). Their means are polynomials of log pitch ratio, log
blades and log diameter. What is left is shared by propellers of one make, or is a propeller's own. Numbers:
`propeller_numbers`, fitted by `benchmarks/propeller_geometry.py` to published static tests.

A library's own propellers sharpen the means: the model is normal, so the answer is closed: the
coefficients of an untested propeller given those of the tested ones, draw by draw. Propellers of one make
share a shift. Where nobody tells the makes, every sorting into makes counts (`propeller_makes`), and so
does a small grid of how much propellers scatter; both are weighed by the likelihood of the tested ones
(A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, ch. 5, on partial pooling).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.answers.posterior import FloatArray
from motorfit.answers.propeller_makes import count_within, sortings
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

# How much propellers scatter, within a make and between makes, relative to the published tests, with weights
# before any test: those are of one careful laboratory, so more is as likely as less.
SCALES = ((0.7, 0.25), (1.0, 0.5), (1.4, 0.25))
MOST_TAUGHT = 30
"""Tested propellers that may sharpen one answer; more would take time and teach little."""
_WEIGHED_ROWS = 24
_ROOT = 0.5 * math.log(2.0 / math.pi)


@dataclass(frozen=True)
class Model:
    """What is known of propellers before any of the library's.

    Attributes
    ----------
    mean, covariance : (18,), (18, 18) of the design's 14 coefficients and of the four shifts that propellers
        of a make have in common
    own : (4, 4) scatter of a propeller about its make
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
    make : whose it is, any word; empty where nobody told
    """

    geometry: Geometry
    components: FloatArray
    learned: tuple[bool, bool, bool, bool]
    stand: str
    make: str = ""


def sharpened(
    geometry: Geometry,
    known: Sequence[Known],
    stand: str,
    size: int,
    rng: np.random.Generator,
    model: Model = SHIPPED,
    make: str = "",
) -> FloatArray:
    """Draw the components (size, 4) of an untested propeller on a stand, given the tested ones.

    Rows of ``known`` are data of their row: pooling is done row by row, so whatever a row's gains and
    heats did to the tested coefficients passes on to the untested one. Only the weights of sortings and
    scales are those of all rows together. The order of ``known`` makes no difference. With none, draws of
    the shipped prior. ``make`` is that of the untested one, where told.
    """
    normal = rng.standard_normal((size, COMPONENTS))
    chance = rng.random(size)
    tested = telling(geometry, make, known)
    cells = _Cells.of(model, geometry, tested, stand, make)
    values = _values(tested, size)
    cell = np.searchsorted(np.cumsum(cells.weights(values))[:-1], chance)
    return cells.drawn(values, cell, normal)


def telling(geometry: Geometry, make: str, known: Sequence[Known]) -> list[Known]:
    """Return those that sharpen an answer, the most alike first.

    There are no more of them than can be sorted into makes in reasonable time.
    """

    def key(other: Known) -> tuple[bool, float, str, float]:
        apart = unlikeness(geometry, make, other.geometry, other.make)
        return (*apart, other.stand, float(other.components[:, 0].sum()))

    taken: list[Known] = []
    for other in sorted((k for k in known if any(k.learned)), key=key):
        if len(taken) < MOST_TAUGHT and count_within((make, *(k.make for k in taken), other.make)):
            taken.append(other)
    return taken


def unlikeness(geometry: Geometry, make: str, other: Geometry, other_make: str) -> tuple[bool, float]:
    """Say whether two are not told to be of one make, then how far apart their size, pitch and blades are."""
    apart = (
        math.log(other.diameter_m / geometry.diameter_m),
        2.0 * math.log(other.pitch_m / other.diameter_m * geometry.diameter_m / geometry.pitch_m),
        2.0 * math.log(other.blades / geometry.blades),
    )
    return not make or other_make != make, math.hypot(*apart)


@dataclass(frozen=True)
class _Cells:
    """Normals of the untested propeller given the tested ones, one a sorting and scale; q values tested.

    Attributes
    ----------
    target, centre : (4,), (q,) means before any test
    gain, root : (cells, 4, q), (cells, 4, 4) slope on what was tested, root of the covariance that is left
    believed : (cells,) log weight before any test
    inverse, log_det : (cells, q, q), (cells,) of the covariance of what was tested
    """

    target: FloatArray
    centre: FloatArray
    gain: FloatArray
    root: FloatArray
    believed: FloatArray
    inverse: FloatArray
    log_det: FloatArray

    @classmethod
    def of(cls, model: Model, geometry: Geometry, tested: Sequence[Known], stand: str, make: str) -> _Cells:
        """Joint normals of the untested and the tested ones, then conditioned."""
        count = len(tested) + 1
        rows = np.concatenate([design(g) for g in (geometry, *(k.geometry for k in tested))])
        slopes, shift = model.covariance[:14, :14], model.covariance[14:, 14:]
        mean = rows @ model.mean[:14] + np.tile(model.mean[14:], count)
        mixed = np.tile(rows @ model.covariance[:14, 14:], count)
        stands = [stand, *(k.stand for k in tested)]
        alike = np.array([[a == b for b in stands] for a in stands], dtype=np.float64)
        steady = rows @ slopes @ rows.T + mixed + mixed.T + np.kron(alike, np.diag(np.square(STAND_SD)))
        sorted_ways = sortings((make, *(k.make for k in tested)))
        groups = np.array([way for way, _ in sorted_ways])
        same = (groups[:, :, None] == groups[:, None, :]).astype(np.float64)
        scatter = np.einsum("pij,ab->piajb", same, shift) + np.einsum("ij,ab->iajb", np.eye(count), model.own)
        flat = scatter.reshape(len(groups), COMPONENTS * count, COMPONENTS * count)
        covariance = np.concatenate([steady + scale**2 * flat for scale, _ in SCALES])
        believed = np.log([w * weight for _, w in SCALES for _, weight in sorted_ways])
        taken = COMPONENTS + np.flatnonzero([flag for k in tested for flag in k.learned])
        inner = covariance[:, taken[:, None], taken]
        cross = covariance[:, taken, :COMPONENTS]
        inverse = np.linalg.inv(inner)
        gain = (inverse @ cross).transpose(0, 2, 1)
        left = covariance[:, :COMPONENTS, :COMPONENTS] - gain @ cross
        return cls(
            mean[:COMPONENTS], mean[taken], gain, np.linalg.cholesky(left), believed, inverse,
            np.linalg.slogdet(inner)[1],
        )  # fmt: skip

    def weights(self, values: FloatArray) -> FloatArray:
        """Weight of each cell, (cells,), averaged over some of the rows ``values`` (rows, q)."""
        some = values[np.linspace(0, len(values) - 1, min(_WEIGHED_ROWS, len(values))).astype(int)]
        off = some - self.centre
        misfit = np.einsum("pij,ri,rj->pr", self.inverse, off, off, optimize=True)
        logs = (self.believed - 0.5 * self.log_det)[:, None] - 0.5 * misfit
        shares = np.exp(logs - logs.max(axis=0))
        weight: FloatArray = (shares / shares.sum(axis=0)).mean(axis=1)
        return weight

    def drawn(self, values: FloatArray, cell: npt.NDArray[np.intp], normal: FloatArray) -> FloatArray:
        """Draws (rows, 4), each of its cell."""
        off = values - self.centre
        made = np.empty_like(normal)
        for index in np.unique(cell):
            rows = cell == index
            made[rows] = self.target + off[rows] @ self.gain[index].T + normal[rows] @ self.root[index].T
        return made


def _values(tested: Sequence[Known], size: int) -> FloatArray:
    if not tested:
        return np.zeros((size, 0))
    every = np.concatenate([k.components for k in tested], axis=1)
    return every[:, np.flatnonzero([flag for k in tested for flag in k.learned])]
