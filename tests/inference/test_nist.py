"""All nonlinear regression problems of NIST's reference datasets through the search, Laplace and the draws.

Digits are -log10 of the relative error of the worst parameter. Certified are eleven; what is asked for is
what a search in standardised coordinates rounded to 1e-8 allows at each level of difficulty.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.inference.fast import fast_draws
from motorfit.inference.optimum import Optimum, find_optimum, laplace
from motorfit.inference.target import Target
from tests.inference.nist_models import NAMES, Problem, problem
from tests.inference.toys import toy

Array = npt.NDArray[np.float64]

DIGITS = {"lower": 8.0, "average": 7.0, "higher": 6.0}
FEWER = {
    "ENSO": 4.0,  # two free periods; the certified sum of squares is flat to 1e-10 along them
    "Lanczos1": 5.0,  # residuals of 1e-13: rounding of the model itself
    "Lanczos2": 5.5,
    "Lanczos3": 6.0,
    "MGH09": 4.5,
    "Thurber": 4.5,
}
FAR = {
    "MGH17": "its first start leads every local search into a flat valley with two equal decay rates",
}
"""Problems whose first start, chosen to be far, is not asked for, and why."""

CURVED = ("Bennett5", "BoxBOD", "ENSO", "Lanczos3", "MGH09", "MGH17", "Nelson", "Rat43", "Thurber")
"""Problems whose posterior under a flat prior is bent or has heavy tails: its sd is not the certified one."""

_LEAST_SD = 1e-9
"""Of residuals, relative to the largest reading: below it doubles have nothing left to fit."""


@dataclass(frozen=True)
class Found:
    """Position in the problem's own parameters, their doubt, and the search that led there."""

    b: Array
    sd: Array
    target: Target
    optimum: Optimum


def _target(p: Problem, at: Array, scale: Array, sd: float) -> Target:
    """The problem about a position, in coordinates of `scale`, with residuals in units of `sd`."""

    def rows(z: Array) -> Array:
        with np.errstate(all="ignore"):  # the search may pass where the model is not finite
            return np.asarray((p.model(at + scale * z, p.x) - p.y) / sd)

    return toy(rows, at.size, {})


@cache
def _found(name: str, start: int) -> Found:
    p = problem(name)
    b, scale = p.starts[start].copy(), np.abs(p.starts[start])
    sd = max(p.residual_sd, _LEAST_SD * float(np.abs(p.y).max()))
    for _ in range(8):  # the search starts over where it stopped until it stays
        z, _ = find_optimum(_target(p, b, scale, sd), np.zeros(b.size), most=200)
        b = b + scale * z
        if np.abs(z).max() < 1e-6:
            break
    for _ in range(12):  # then steps of the quadratic that Laplace fits there, in units of the doubt found
        optimum = laplace(_target(p, b, scale, sd), np.zeros(b.size))
        doubt = scale * np.sqrt(np.sum(optimum.factor**2, axis=1))
        b, scale = b + scale * optimum.centre, doubt
    target = _target(p, b, scale, sd)
    return Found(b, scale, target, laplace(target, np.zeros(b.size)))


def _digits(found: Array, certified: Array) -> float:
    return float(np.min(-np.log10(np.abs(found - certified) / np.abs(certified) + 1e-16)))


@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("name", NAMES)
def test_certified_values(name: str, start: int) -> None:
    if start == 0 and name in FAR:
        pytest.skip(FAR[name])
    p = problem(name)
    found = _found(name, start)
    wanted = FEWER.get(name, DIGITS[p.level])
    assert _digits(found.b, p.value) > wanted
    if name != "Lanczos1":  # its certified doubt is that of the last bit
        assert _digits(found.sd, p.error) > min(wanted, 4.5)


def test_all_problems_are_here() -> None:
    assert len(NAMES) == 27 and {problem(n).level for n in NAMES} == set(DIGITS)
    for p in map(problem, NAMES):
        rows = (p.model(p.value, p.x) - p.y) / p.residual_sd
        if p.name != "Lanczos1":
            # the reading of the data and the model: the certified residual standard deviation
            assert float(rows @ rows) / p.freedom == pytest.approx(1.0, rel=1e-5), p.name


@pytest.mark.parametrize("name", [n for n in NAMES if n not in {*CURVED, "Lanczos1"}])
def test_draws_have_the_certified_width(name: str) -> None:
    """Where the model is straight over its doubt, draws have the certified values for mean and sd."""
    p = problem(name)
    b = _draws(name)
    shift = np.abs(b.mean(axis=0) - p.value) / p.error
    ratio = b.std(axis=0) / p.error
    assert shift.max() < 0.25
    assert ratio.min() > 0.93 and ratio.max() < 1.07


@pytest.mark.parametrize("name", CURVED)
def test_draws_of_curved_problems_hold_the_certified_values(name: str) -> None:
    b = _draws(name)
    assert (np.abs(b.mean(axis=0) - problem(name).value) < 2.0 * b.std(axis=0)).all()


def _draws(name: str) -> Array:
    found = _found(name, 1)
    with np.errstate(all="ignore"):  # far draws overflow: they are impossible
        fast = fast_draws(found.target, found.optimum, np.random.default_rng(1), 4000)
    assert fast.sound
    return np.asarray(found.b + found.sd * fast.z.reshape(-1, found.b.size))
