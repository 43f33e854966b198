"""The supply behind the logged bus voltage.

The bus voltage drives the model, so its noise would shake every other channel at once.  A stiff supply is an
open-circuit voltage that drifts slowly behind a source resistance; learning those from the whole run replaces
noisy block means by a few numbers.  A supply that folds back is not like that, and is taken as logged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motorfit.bench.bridge import bridged

__all__ = ["Supply", "learn_supply"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Supply:
    """Bus voltage V_b = E - R_s I_b, in readings (before gains are undone).

    Attributes
    ----------
    open_circuit_v : (blocks,) E [V]
    resistance_ohm : R_s [ohm]
    learned : False when E is the logged voltage itself and R_s is 0
    resistance_sd_ohm : doubt of R_s [ohm]
    level_sd_v, drift_sd_v : doubt of E, of the whole and from one end of the run to the other [V]
    level_a, drift_a : what those are wrong by where R_s is wrong, per ohm of it [A]
    along : (blocks,) how far along the run, of length 1, about where level and drift are told apart [1]
    """

    open_circuit_v: Array
    resistance_ohm: float
    learned: bool
    along: Array
    resistance_sd_ohm: float = 0.0
    level_sd_v: float = 0.0
    drift_sd_v: float = 0.0
    level_a: float = 0.0
    drift_a: float = 0.0

    @staticmethod
    def as_logged(voltage: Array) -> Supply:
        """The logged bus voltage as it stands [V]."""
        return Supply(voltage, 0.0, False, np.zeros_like(voltage))


def learn_supply(
    time_s: Array,
    mean: Mapping[str, Array],
    variance: Mapping[str, Array],
    covariance: Mapping[str, Array],
    mistimed: tuple[Array, ...] = (),
) -> Supply:
    """Learn the supply from block means of voltage and current.

    Parameters
    ----------
    time_s : (blocks,) middle of each block [s]
    mean, variance, covariance : block means with their noise, by channel (V, A)
    mistimed : voltages as they would be if logged a little earlier or later, (blocks,) each [V]; what that
        does to R_s is a part of its doubt

    Returns
    -------
    Supply.  A straight line in time and current is accepted when what it leaves is slow and small; the slow
    rest is smoothed by a local-level filter whose step is chosen by maximum likelihood (J. Durbin and
    S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., Oxford 2012, ch. 2).
    """
    v = mean["voltage"]
    raw = Supply.as_logged(bridged(v))
    current = mean.get("current")
    good = np.isfinite(v) & (np.isfinite(current) if current is not None else True)
    if np.count_nonzero(good) < 12:
        return raw
    sd = np.sqrt(variance["voltage"])
    scaled = (time_s - time_s.mean()) / max(float(np.ptp(time_s)), 1e-9)
    columns = [np.ones_like(v), scaled]
    if current is not None and float(np.nanmax(current) - np.nanmin(current)) > 0.5:
        columns.append(-np.where(np.isfinite(current), current, 0.0))
    basis = np.column_stack(columns)
    coef, rest, weight = _line(basis, v, good, sd)
    source = float(coef[2]) if len(columns) == 3 else 0.0
    swing = float(np.nanmax(v) - np.nanmin(v))
    if source < 0.0:
        source, rest = 0.0, np.where(good, v - basis[:, :2] @ coef[:2], 0.0)
    left = float(np.sqrt(np.mean(rest[good] ** 2)))
    noise = float(np.sqrt(np.mean(variance["voltage"][good])))
    if left > 6.0 * noise and left > 0.1 * swing:
        return raw
    level, shaky = _local_level(rest, variance["voltage"], good)
    if shaky:
        return raw
    used = basis if source > 0.0 else basis[:, :2]
    cov = _covariance(used, rest, weight)
    doubt, turn = 0.0, np.zeros(2)
    if source > 0.0:
        doubt, turn = float(np.sqrt(cov[2, 2])), cov[:2, 2] / cov[2, 2]
        shifted = [_line(basis, other, good & np.isfinite(other), sd)[0][2] for other in mistimed]
        if shifted:
            doubt = float(np.hypot(doubt, np.ptp([source, *shifted]) / np.sqrt(12.0)))
    # what stays of level and drift where R_s is known, about the time at which they are independent
    cov = cov[:2, :2] - np.outer(turn, turn) * (cov[2, 2] if source > 0.0 else 0.0)
    centre = -cov[0, 1] / cov[1, 1]
    level_sd = np.sqrt(max(cov[0, 0] + centre * cov[0, 1], 0.0))
    return Supply(
        basis[:, :2] @ coef[:2] + level, source, True, scaled - centre, doubt, float(level_sd),
        float(np.sqrt(cov[1, 1])), float(turn[0] + centre * turn[1]), float(turn[1]),
    )  # fmt: skip


def _line(basis: Array, v: Array, good: npt.NDArray[np.bool_], sd: Array) -> tuple[Array, Array, Array]:
    """(coefficients, what they leave [V], weights) of a line through the voltage; blocks that disagree lose
    weight."""
    weight = good / sd
    coef, rest = np.zeros(basis.shape[1]), np.zeros_like(v)
    for _ in range(6):
        found, *_ = np.linalg.lstsq(basis * weight[:, None], np.where(good, v, 0.0) * weight, rcond=None)
        coef = np.asarray(found, dtype=np.float64)
        rest = np.where(good, v - basis @ coef, 0.0)
        scale = max(1.4826 * float(np.median(np.abs(rest[good] / sd[good]))), 1.0)
        weight = good / sd / np.sqrt(1.0 + (rest / (3.0 * scale * sd)) ** 2)
    return coef, rest, weight


def _covariance(basis: Array, rest: Array, weight: Array) -> Array:
    """Covariance of a line's coefficients, by what it leaves."""
    scaled = basis * weight[:, None]
    used = np.count_nonzero(weight)
    size = float(np.sum((rest * weight) ** 2)) / max(used - basis.shape[1], 1)
    return np.asarray(max(size, 1.0) * np.linalg.pinv(scaled.T @ scaled))


def _local_level(rest: Array, variance: Array, good: npt.NDArray[np.bool_]) -> tuple[Array, bool]:
    """Smoothed slow part of what the line leaves [V]; whether it moves as fast as the blocks themselves."""
    noise = np.where(good, variance, 1e12)
    grid = np.concatenate(([0.0], float(np.median(variance)) * np.geomspace(1e-6, 10.0, 15)))
    scores, levels = _filter(rest, noise, grid)
    best = int(np.argmax(scores))
    if scores[best] - scores[0] < 2.0:  # a constant explains it as well
        return np.zeros_like(rest), False
    return levels[:, best], float(grid[best]) > 0.5 * float(np.median(variance))


def _filter(y: Array, noise: Array, q: Array) -> tuple[Array, Array]:
    """Log-likelihoods (k,) and smoothed states (n, k) of local-level models, scale free in the noise.

    y, noise : (n,) readings and their variance;  q : (k,) variance that the level gains from one to the next
    """
    n = y.size
    level, p = np.zeros(q.size), np.full(q.size, float(np.median(noise)) * 0.25)
    filtered, cov, off, total = (np.empty((n, q.size)) for _ in range(4))
    for k in range(n):
        p = p + q
        total[k] = p + noise[k]
        off[k] = y[k] - level
        gain = p / total[k]
        level = level + gain * off[k]
        p = p * (1.0 - gain)
        filtered[k], cov[k] = level, p
    score = -0.5 * np.sum(np.log(total) + np.minimum(off**2 / total, 25.0), axis=0)
    smooth = filtered.copy()
    follow = cov / (cov + q)
    for k in range(n - 2, -1, -1):
        smooth[k] += follow[k] * (smooth[k + 1] - filtered[k])
    return score, smooth
