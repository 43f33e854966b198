"""Held-out errors of what propellers have in common, for the pages that `propeller_geometry` makes.

Covariances are those of all tests throughout; coefficients are fitted anew without what is left out.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.propeller_geometry import BEGIN, END, predicted, shipped
from benchmarks.propeller_readings import SMALL_M, Array, Tests
from motorfit.answers.propeller_kin import LIKENESS, Geometry, Known, Model, from_components, sharpened

Index = npt.NDArray[np.intp]
QUANTITIES = ("C_T", "logit of FM", "C_Q", "exponent of C_T", "exponent of C_Q")
RELATIVE = (True, False, True, False, False)
DRAWS = 600


def _turned(slope: float, middle: float) -> Array:
    """What makes the five quantities, the coefficients at a log of speed, of the four components.

    C_Q is 1.5 log C_T less log FM, whose ``slope`` by its logit is that at the prediction.
    """
    return np.array([[1, 0, middle, 0], [0, 1, 0, 0], [1.5, -slope, 0, middle], [0, 0, 1, 0], [0, 0, 0, 1.0]])


def _miss(tests: Tests, scales: Array, index: int, *, whole: bool) -> tuple[Array, Array]:
    """Misses of the five quantities, measured less predicted, and their predicted standard deviations.

    Coefficients are compared in the middle of the readings: small propellers were read at a third of
    LIKENESS, and what their readings say there is no measurement.
    """
    every = np.arange(len(tests.names))
    keep = every[tests.families != tests.families[index]] if whole else every[every != index]
    mean, left = predicted(tests, keep, scales, index, same_family=not whole)
    turn = _turned(1.0 / (1.0 + math.exp(mean[1])), tests.middles[index])
    return turn @ (tests.values[index] - mean), np.sqrt(np.diag(turn @ left @ turn.T))


def held_out(tests: Tests, scales: Array) -> list[str]:
    """Rows of the page: errors and coverage without the propeller, and without its family."""
    lines = [
        "| left out | quantity | median error | 90th percentile | inside 90 % | inside 50 % "
        "| rms of misses in sd |",
        "|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    small = tests.diameters < SMALL_M
    for title, whole in (("the propeller", False), ("its whole family", True)):
        found = [_miss(tests, scales, k, whole=whole) for k in range(len(tests.names))]
        size = np.abs(np.array([miss for miss, _ in found]))
        ratio = size / np.array([sd for _, sd in found])
        told = [(name, column, np.ones_like(small)) for column, name in enumerate(QUANTITIES)]
        told += [(f"{QUANTITIES[c]}, below {SMALL_M / 0.0254:.0f} inch", c, small) for c in (0, 2)]
        for name, column, chosen in told:
            error, part = size[chosen, column], ratio[chosen, column]
            text = [
                f"{100 * v:.1f} %" if RELATIVE[column] else f"{v:.2f}" for v in np.quantile(error, (0.5, 0.9))
            ]
            share = [f"{100 * np.mean(part < edge):.0f} %" for edge in (1.645, 0.674)]
            rms = f"{math.sqrt(float(np.mean(part**2))):.2f}"
            lines.append(f"| {title} | {name} | {text[0]} | {text[1]} | {share[0]} | {share[1]} | {rms} |")
    return lines


def _part(tests: Tests, keep: Index) -> Tests:
    arrays = ("families", "rows", "values", "doubt", "diameters", "ratios", "blades", "middles")
    picked: dict[str, Any] = {name: getattr(tests, name)[keep] for name in arrays}
    for name in ("names", "readings"):
        picked[name] = tuple(getattr(tests, name)[k] for k in keep)
    return replace(tests, **picked)


def _known(tests: Tests, index: int, rng: np.random.Generator, *, told: bool) -> Known:
    """A tested propeller, with draws of what its readings leave open."""
    diameter = float(tests.diameters[index])
    geometry = Geometry(diameter, diameter * float(tests.ratios[index]), int(tests.blades[index]))
    draws = rng.multivariate_normal(tests.values[index], tests.doubt[index], DRAWS, method="cholesky")
    make = str(tests.families[index]) if told else ""
    return Known(geometry, draws, (True, True, True, True), "tunnel", make)


def _library(tests: Tests, index: int, kind: str, rng: np.random.Generator) -> Index | None:
    """Which propellers a user's library holds beside the one asked for; None where there are too few."""
    every = np.arange(len(tests.names))
    if kind == "none":
        return every[:0]
    alike = every[(tests.families == tests.families[index]) & (every != index)]
    if kind == "three of its make":
        return rng.choice(alike, 3, replace=False) if alike.size >= 3 else None
    others = every[tests.families != tests.families[index]]
    if kind == "three of another make":
        names, sizes = np.unique(tests.families[others], return_counts=True)
        return rng.choice(every[tests.families == rng.choice(names[sizes >= 3])], 3, replace=False)
    return rng.choice(others, 3 if kind == "three of any make" else 6, replace=False)


def _coefficients(values: Array, middle: float) -> tuple[Array, Array]:
    """C_T and C_Q of components (..., 4) at a log of speed over LIKENESS."""
    thrust, torque, thrust_exponent, torque_exponent = from_components(values)
    return thrust * np.exp(thrust_exponent * middle), torque * np.exp(torque_exponent * middle)


KINDS = ("none", "three of its make", "three of another make", "three of any make", "six of any make")


def libraries(tests: Tests, scales: Array) -> list[str]:
    """Rows of the page: a propeller predicted as a user would, from a small library of makers left out of
    the fit.
    """
    lines = [
        "| the library holds | makes are told | C_T: median error | half width | inside 90 % "
        "| C_Q: median error | half width | inside 90 % |",
        "|---|---|---|---|---|---|---|---|",
    ]
    every = np.arange(len(tests.names))
    models: dict[frozenset[str], Model] = {}
    for kind, told in ((kind, told) for kind in KINDS for told in (False, True)):
        if kind == "none" and told:
            continue
        rng = np.random.default_rng(20)
        misses, widths, inside = [], [], []
        for index in range(len(tests.names)):
            held = _library(tests, index, kind, rng)
            if held is None:
                continue
            gone = frozenset(tests.families[[index, *held]].tolist())
            if gone not in models:
                kept = every[[family not in gone for family in tests.families]]
                models[gone] = shipped(_part(tests, kept), scales)
            target = _known(tests, index, rng, told=told)
            known = [_known(tests, int(k), rng, told=told) for k in held]
            drawn = sharpened(
                target.geometry, known, "tunnel", DRAWS, rng.spawn(1)[0], models[gone], target.make
            )
            # what is compared was read, so the reading's scatter belongs to the prediction
            drawn = drawn + target.components - tests.values[index]
            edges = [
                np.quantile(d, (0.05, 0.5, 0.95)) / t
                for d, t in zip(
                    _coefficients(drawn, tests.middles[index]),
                    _coefficients(tests.values[index], tests.middles[index]),
                    strict=True,
                )
            ]
            misses.append([abs(math.log(e[1])) for e in edges])
            widths.append([0.5 * math.log(e[2] / e[0]) for e in edges])
            inside.append([e[0] < 1.0 < e[2] for e in edges])
        middle, wide = 100 * np.median(misses, axis=0), 100 * np.median(widths, axis=0)
        share = 100 * np.mean(inside, axis=0)
        cells = [f"{middle[k]:.1f} % | {wide[k]:.0f} % | {share[k]:.0f} %" for k in (0, 1)]
        said = "" if kind == "none" else "yes" if told else "no"
        lines.append(f"| {kind} | {said} | {' | '.join(cells)} |")
    return lines


def by_propeller(tests: Tests, scales: Array) -> str:
    """The page of held-out errors, one propeller a row."""
    lines = [
        "# Held-out errors, propeller by propeller\n",
        "What was measured, at the speed in the middle of its readings, and by how much the prediction",
        "misses it without the propeller and without its whole family; positive where the measured one is",
        "larger. How: [propellers](propellers.md).\n",
        BEGIN,
        "| propeller | family | diameter, inch | pitch, inch | blades | speed, rpm | C_T | C_Q "
        "| C_T, without it | C_Q, without it | C_T, without family | C_Q, without family |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for index, name in enumerate(tests.names):
        thrust, torque = _coefficients(tests.values[index], tests.middles[index])
        alone, whole = (_miss(tests, scales, index, whole=flag)[0] for flag in (False, True))
        diameter = tests.diameters[index] / 0.0254
        speed = 60.0 * LIKENESS / tests.diameters[index] ** 2 * math.exp(tests.middles[index])
        cells = [f"{100 * math.expm1(miss[k]):+.0f} %" for miss in (alone, whole) for k in (0, 2)]
        lines.append(
            f"| {name} | {tests.families[index]} | {diameter:.3g} | {diameter * tests.ratios[index]:.3g} "
            f"| {tests.blades[index]:.0f} | {speed:.0f} | {thrust:.4f} | {torque:.5f} | "
            + " | ".join(cells)
            + " |"
        )
    return "\n".join(lines) + "\n\n" + END
