"""Draws without an effect that may be absent, against a posterior that is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import norm

from motorfit.inference.absence import with_absence
from motorfit.inference.priors import ABSENT
from motorfit.inference.target import Target

Array = npt.NDArray[np.float64]


@dataclass
class _Index:
    index: dict[str, int] = field(default_factory=lambda: {"kv": 0, "controller_idle_current": 1, "gain": 2})


@dataclass
class _Known:
    """Normal data about a half-normal size and two unit normals that lean on it."""

    seen: float
    sd: float = 0.2
    graph: _Index = field(default_factory=_Index)

    def log_density(self, z: Array) -> Array:
        lean = z[:, 0] + 2.0 * z[:, 1]
        out = norm.logpdf(z[:, 1], self.seen, self.sd) + norm.logpdf(lean, 1.0, 0.3) - 0.5 * z[:, 2] ** 2
        return np.where(z[:, 1] >= 0.0, out + norm.logpdf(z[:, 1]) - 0.5 * z[:, 0] ** 2, -np.inf)

    def draws(self, n: int, rng: np.random.Generator) -> Array:
        """From the posterior with the effect, by weights on a wide proposal."""
        z = rng.standard_normal((40 * n, 3)) * (1.0, self.sd, 1.0) + (0.0, self.seen, 0.0)
        z[:, 0] = 0.3 * z[:, 0] + 1.0 - 2.0 * z[:, 1]
        log_q = norm.logpdf(z[:, 1], self.seen, self.sd) + norm.logpdf(z[:, 0] + 2.0 * z[:, 1], 1.0, 0.3)
        log_w = self.log_density(z) - log_q + 0.5 * z[:, 2] ** 2
        w = np.exp(log_w - log_w.max())
        return np.asarray(z[rng.choice(z.shape[0], n, p=w / w.sum())])

    def density_at_zero(self) -> float:
        grid = np.linspace(0.0, 3.0, 30001)
        marginal = np.array(
            norm.pdf(grid, self.seen, self.sd)
            * norm.pdf(grid)
            * norm.pdf(1.0 - 2.0 * grid, 0.0, np.hypot(1.0, 0.3))
        )
        return float(marginal[0] / np.sum(marginal) / (grid[1] - grid[0]))


@pytest.mark.parametrize("seen", [0.0, 0.15, 0.4])
def test_the_share_without_it_is_its_probability(seen: float) -> None:
    rng = np.random.default_rng(4)
    known = _Known(seen)
    z = known.draws(8000, rng)
    out = with_absence(cast(Any, known), z, known.log_density(z), rng)
    odds = ABSENT / (1.0 - ABSENT) * known.density_at_zero() / np.sqrt(2.0 / np.pi)
    none = out[:, 1] == 0.0
    assert none.mean() == pytest.approx(odds / (1.0 + odds), abs=0.03)
    # what leans on it is where it is when there is none: precisions 1 and 1/0.09 about 0 and 1
    mean, sd = (1.0 / 0.09) / (1.0 + 1.0 / 0.09), (1.0 + 1.0 / 0.09) ** -0.5
    assert out[none, 0].mean() == pytest.approx(mean, abs=0.05)
    assert out[none, 0].std() == pytest.approx(sd, rel=0.12)
    kept = {tuple(row) for row in z}
    assert all(tuple(row) in kept for row in out[~none][:200])


def test_an_effect_that_is_clearly_there_stays() -> None:
    rng = np.random.default_rng(4)
    known = _Known(2.0, 0.1)
    z = known.draws(2000, rng)
    assert with_absence(cast(Target, known), z, known.log_density(z), rng) is z
