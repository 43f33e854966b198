"""The evidence of a noise model: against a dense Gaussian, and learned where the truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.inference.evidence import Part
from motorfit.inference.noise import learn_noise, same_noise
from motorfit.inference.optimum import Optimum
from motorfit.inference.slow_error import slow_error
from motorfit.inference.target import Target, whitening
from motorfit.physics.slots import C_SPEED, MODE_AT_SPEED, N_CHANNELS

Array = npt.NDArray[np.float64]
Learned = tuple[Target, Optimum]


def _bare(target: Target) -> Target:
    isd, phi = whitening(target.flat)
    return target.with_noise(isd, phi, slow_error(target.flat, isd, phi, np.zeros(N_CHANNELS)))


def test_terms_are_those_of_a_dense_gaussian() -> None:
    """Products with the inverse of a covariance that is written out in full, and its determinant."""
    rng = np.random.default_rng(4)
    n, value, scale = 40, 0.004, 1.3
    strength = np.array([900.0, 300.0, 20.0])
    q, _ = np.linalg.qr(rng.standard_normal((n, strength.size)))
    r, j = rng.standard_normal(n), rng.standard_normal((n, 3))
    part = Part(0, C_SPEED, n, strength, j.T @ j, j.T @ r, float(r @ r), q.T @ r, q.T @ j)
    cov = scale**2 * np.eye(n) + (q * (value * strength) ** 2) @ q.T
    h, b, rest = part.terms(value, scale)
    np.testing.assert_allclose(h, j.T @ np.linalg.solve(cov, j), rtol=1e-9)
    np.testing.assert_allclose(b, j.T @ np.linalg.solve(cov, r), rtol=1e-9)
    assert rest == pytest.approx(r @ np.linalg.solve(cov, r) + np.linalg.slogdet(cov)[1], rel=1e-9)


@pytest.mark.parametrize("size", [0.0, 0.01])
def test_a_slow_error_of_known_size_is_found(learned: Learned, size: float) -> None:
    """Data drawn from the model, with speed off by smooth curves of a known size, then learned anew."""
    target, optimum = learned
    sizes = np.zeros(N_CHANNELS)
    sizes[C_SPEED] = size
    true = target.with_noise(target.isd, target.phi, slow_error(target.flat, target.isd, target.phi, sizes))
    rng = np.random.default_rng(11)
    found = []
    for _ in range(6):
        z = optimum.z[None, :]
        drawn = true.predict(z)[0] + true.noise(z, rng)[0]
        y = np.where(np.isfinite(target.flat.y), drawn, np.nan)
        again = learn_noise(replace(target, flat=replace(target.flat, y=y)), optimum.z)
        found.append(float(again.slow.size[C_SPEED]))
    if size == 0.0:
        assert np.median(found) <= 2e-4
    else:
        assert np.median(found) == pytest.approx(size, rel=0.5)


def test_the_scale_of_noise_is_found(learned: Learned) -> None:
    """Noise three times what the log's fast part says, in one run's speed."""
    target, optimum = learned
    bare = _bare(target)
    a, b = target.flat.first[0], target.flat.first[1]
    assert target.flat.mode[0] != MODE_AT_SPEED
    isd = bare.isd.copy()
    isd[a:b, C_SPEED] /= 3.0
    rng = np.random.default_rng(5)
    z = optimum.z[None, :]
    noise = replace(bare, isd=isd).noise(z, rng)[0]
    y = np.where(np.isfinite(target.flat.y), bare.predict(z)[0] + noise, np.nan)
    again = learn_noise(replace(bare, flat=replace(bare.flat, y=y)), optimum.z)
    used = bare.isd[a:b, C_SPEED] > 0.0
    ratio = bare.isd[a:b, C_SPEED][used] / again.isd[a:b, C_SPEED][used]
    assert np.median(ratio) == pytest.approx(3.0, rel=0.15)


def test_learning_twice_changes_nothing(learned: Learned) -> None:
    target, optimum = learned
    assert same_noise(target, learn_noise(target, optimum.z))
