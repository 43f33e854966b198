"""Posteriors that are known by formula, in the shape that the samplers ask for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import cast

import numpy as np
import numpy.typing as npt

from motorfit.inference.blocks import one_block
from motorfit.inference.graph import LINEAR, Coordinate
from motorfit.inference.optimum import Optimum, find_optimum, laplace
from motorfit.inference.priors import Flat, HalfNormal, Prior
from motorfit.inference.target import Target

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Toy:
    """A density -½ Σ r² cut at the bounds of its half-normal coordinates."""

    rows: Callable[[Array], Array]
    graph: SimpleNamespace
    flat: SimpleNamespace

    def residuals(self, z: Array) -> Array:
        """As `Target.residuals`."""
        return self.rows(z)

    def data_residuals(self, z: Array) -> Array:
        """As `Target.data_residuals`: all of them are."""
        return self.rows(z)

    def belief_residuals(self, z: Array) -> Array:
        """As `Target.belief_residuals`: none."""
        return np.zeros((z.shape[0], 0))

    @property
    def cuts(self) -> npt.NDArray[np.int64]:
        """As `Target.cuts`: all residuals are of one run."""
        return np.array([0, self.rows(np.zeros((1, self.graph.size))).shape[1]])

    def log_density(self, z: Array) -> Array:
        """As `Target.log_density`."""
        out = -0.5 * np.sum(self.rows(z) ** 2, axis=1)
        for i, c in enumerate(self.graph.coordinates):
            inside = np.isfinite(c.prior.log_density(z[:, i]))
            out = np.where(inside, out, -np.inf)
        return np.asarray(out)

    def log_densities(self, z: Array) -> Array:
        """As `Target.log_densities`, of one block."""
        return self.log_density(z)[:, None]


def toy(rows: Callable[[Array], Array], size: int, bounded: dict[int, float]) -> Target:
    """A toy of `size` coordinates; those of `bounded` run from 0 to the bound given."""

    def prior(i: int) -> Prior:
        return HalfNormal(top=bounded[i]) if i in bounded else Flat()

    coordinates = tuple(Coordinate(f"z{i}", LINEAR, 0.0, 1.0, prior(i)) for i in range(size))
    graph = SimpleNamespace(
        coordinates=coordinates,
        size=size,
        colours=np.arange(size),
        reach=np.ones((size, 1), dtype=bool),
        blocks=one_block(size, 1),
    )
    flat = SimpleNamespace(size=100, h=np.zeros(100))
    return cast(Target, Toy(rows, graph, flat))


def gaussian(mean: Array, cov: Array, bounded: dict[int, float]) -> Target:
    """A normal of that mean and covariance, cut at bounds."""
    whiten = np.linalg.inv(np.linalg.cholesky(cov))
    return toy(lambda z: np.asarray((z - mean) @ whiten.T), mean.size, bounded)


def banana(bend: float = 0.6) -> Target:
    """Four coordinates: z0 half-normal, z1 and z2 correlated normals, z3 a parabola of z1 within 0.2.

    z0 ~ |N(0, 1)|;  z1 ~ N(0.5, 1);  z2 = 0.6 z1 + 0.4 z0 + 0.5 ε;  z3 = bend (z1² - 1) + 0.2 ε.
    """

    def rows(z: Array) -> Array:
        return np.stack(
            [
                z[:, 0],
                z[:, 1] - 0.5,
                (z[:, 2] - 0.6 * z[:, 1] - 0.4 * z[:, 0]) / 0.5,
                (z[:, 3] - bend * (z[:, 1] ** 2 - 1.0)) / 0.2,
            ],
            axis=1,
        )

    return toy(rows, 4, {0: np.inf})


def banana_draws(rng: np.random.Generator, count: int, bend: float = 0.6) -> Array:
    """Exact draws of `banana`, (count, 4)."""
    a, b, c, d = rng.standard_normal((4, count))
    z0, z1 = np.abs(a), 0.5 + b
    return np.stack([z0, z1, 0.6 * z1 + 0.4 * z0 + 0.5 * c, bend * (z1**2 - 1.0) + 0.2 * d], axis=1)


def optimum_of(target: Target, start: Array) -> Optimum:
    """Search, then Laplace, as a fit does."""
    z, spent = find_optimum(target, start)
    return laplace(target, z, spent)
