"""How noisy a channel is and for how long its noise remembers: measured from the log itself.

The noise of a channel is taken as a first-order Markov (Ornstein-Uhlenbeck) process plus white noise.  Its
variance σ² and memory τ come from the variogram of the log after a slow trend is removed, and the doubt of a
block mean, with its correlation to the block before, follows in closed form.  √N for independent samples
would be wrong by the square root of the ratio of memory to sampling interval, often a factor of 3 to 6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["NoiseModel", "block_moments", "measure_noise", "typical_noise"]

Array = npt.NDArray[np.float64]

_TREND_WINDOW_S = 0.5
_ENOUGH = 2000
"""Squared differences that show their median well enough to trim by."""


@dataclass(frozen=True)
class NoiseModel:
    """Noise of one channel of one run.

    Attributes
    ----------
    sd : standard deviation of the part with memory [unit of the channel]
    memory_s : its correlation time τ [s]; correlation over a lag t is exp(-t/τ)
    white_sd : standard deviation of the part without memory, quantisation included [unit of the channel]
    measured : whether the log showed it; else it was too short or too restless, and the size is a rough one
    """

    sd: float
    memory_s: float
    white_sd: float
    measured: bool = True


def measure_noise(values: Array, dt_s: float, quiet: npt.NDArray[np.bool_]) -> NoiseModel:
    """Noise of a channel from its samples.

    Parameters
    ----------
    values : (n,) samples, NaN where missing [unit of the channel]
    dt_s : sampling interval [s]
    quiet : (n,) True where no transient is passing

    Returns
    -------
    NoiseModel, never exactly zero: the smallest step between readings counts as quantisation.  Where fewer
    than twelve quiet samples lie together, its size is that of the second differences of all samples, which
    the channel's own motion makes too large rather than too small.

    Notes
    -----
    Source of the estimator: the empirical variogram (N. Cressie, Statistics for Spatial Data, Wiley 1993,
    section 2.4), fitted over a grid of memories by non-negative least squares.
    """
    step = _quantum(values)
    floor = max(step / np.sqrt(12.0), 1e-9 * float(np.nanmax(np.abs(values), initial=0.0)), 1e-12)
    residual = _detrend(values, dt_s, quiet)
    if np.count_nonzero(np.isfinite(residual)) < 12:
        return NoiseModel(max(_rough(values), floor), dt_s, floor, measured=False)
    lags = _lags(dt_s, residual.size)
    gamma = np.full(lags.size, np.nan)
    for i, lag in enumerate(lags):
        sq = (residual[lag:] - residual[:-lag]) ** 2
        sq = sq[np.isfinite(sq)]
        if sq.size >= 8:
            # trimmed at eight times their median, for which some thousands of them do: spikes are not noise
            some = sq[:: max(sq.size // _ENOUGH, 1)]
            middle = float(np.partition(some, some.size // 2)[some.size // 2])
            gamma[i] = 0.5 * float(np.mean(np.minimum(sq, 18.0 * max(middle, floor**2))))
    ok = np.isfinite(gamma)
    if np.count_nonzero(ok) < 2:
        sd = float(np.nanstd(residual))
        return NoiseModel(max(sd, floor), dt_s, floor, measured=False)
    best = _fit_variogram(lags[ok] * dt_s, gamma[ok], dt_s)
    return NoiseModel(max(best[0], floor), best[1], max(best[2], floor))


def block_moments(noise: NoiseModel, counts: Array, dt_s: float) -> tuple[Array, Array]:
    """Doubt of block means and correlation with the block before.

    Parameters
    ----------
    noise : the channel's noise
    counts : (blocks,) samples in each block, at least 1
    dt_s : sampling interval [s]

    Returns
    -------
    (variance (blocks,) [unit²], covariance with the previous block (blocks,) [unit²], first 0)
    """
    phi = np.exp(-dt_s / noise.memory_s)
    m = counts
    gone = -np.expm1(-m * dt_s / noise.memory_s)
    if phi > 1.0 - 1e-12:
        phi = 1.0 - 1e-12
    run = (1.0 + phi) / (1.0 - phi) - 2.0 * phi * gone / (m * (1.0 - phi) ** 2)
    variance = noise.sd**2 / m * np.maximum(run, 1.0) + noise.white_sd**2 / m
    covariance = np.zeros_like(variance)
    covariance[1:] = noise.sd**2 * phi * gone[1:] * gone[:-1] / (m[1:] * m[:-1] * (1.0 - phi) ** 2)
    return variance, covariance


def typical_noise(found: Sequence[NoiseModel]) -> NoiseModel | None:
    """The noise of a sensor from that of several runs, those that measured it; None where none did."""
    known = [n for n in found if n.measured]
    if not known:
        return None
    sd, memory_s, white_sd = np.median([(n.sd, n.memory_s, n.white_sd) for n in known], axis=0)
    return NoiseModel(float(sd), float(memory_s), float(white_sd))


def _rough(values: Array) -> float:
    """Standard deviation of white noise that would make the typical second difference of the samples."""
    bends = np.abs(np.diff(values[np.isfinite(values)], 2))
    return 1.4826 * float(np.median(bends)) / np.sqrt(6.0) if bends.size else 0.0


def _quantum(values: Array) -> float:
    """Smallest step between different readings, when the log shows one (few distinct values)."""
    finite = values[np.isfinite(values)][:20000]
    distinct = np.unique(finite)
    if distinct.size < 2:
        return float(np.abs(distinct[0]) * 1e-3) if distinct.size else 0.0
    steps = np.diff(distinct)
    return float(np.median(steps)) if distinct.size < 0.2 * finite.size else float(np.min(steps))


def _detrend(values: Array, dt_s: float, quiet: npt.NDArray[np.bool_]) -> Array:
    """Residual from straight lines over half-second stretches of the quiet part, NaN elsewhere."""
    window = max(round(_TREND_WINDOW_S / dt_s), 16)
    n = values.size
    out = np.full(n, np.nan)
    usable = quiet & np.isfinite(values)
    whole = n // window
    full = usable[: whole * window].reshape(whole, window).all(axis=1)
    if full.any():  # one basis fits all of them
        out[: whole * window].reshape(whole, window)[full] = _straightened(
            values[: whole * window].reshape(whole, window)[full], np.arange(window)
        )
    for k in np.flatnonzero(~np.append(full, whole * window == n)):
        part = np.flatnonzero(usable[k * window : (k + 1) * window])
        if part.size >= 10:
            out[k * window + part] = _straightened(values[k * window + part], part)
    return out


def _straightened(values: Array, at: npt.NDArray[np.int64]) -> Array:
    """What lines, or parabolas through sixteen samples and more, leave of stretches (..., samples).

    `at` (samples,) numbers them.
    """
    degree = 2 if at.size >= 16 else 1
    basis, _ = np.linalg.qr(np.vander((at - at.mean()) / at.size, degree + 1))
    # dividing by the share of freedom left undoes what the line took out of the variance
    left: Array = (values - (values @ basis) @ basis.T) * np.sqrt(at.size / (at.size - degree - 1))
    return left


def _lags(dt_s: float, n: int) -> npt.NDArray[np.int64]:
    longest = max(min(round(0.12 / dt_s), n // 4), 2)
    return np.unique(np.round(np.geomspace(1, longest, 14)).astype(np.int64))


def _fit_variogram(lag_s: Array, gamma: Array, dt_s: float) -> tuple[float, float, float]:
    """(sd, memory, white sd) that fit γ(t) = white² + sd² (1 - exp(-t/τ)) best, relative errors."""
    # two columns a memory, one of the process and one of the white noise, by their normal equations
    taus = np.geomspace(0.2 * dt_s, max(0.1, 2.0 * dt_s), 40)
    size = max(float(np.max(gamma)), 1e-300)
    weight = 1.0 / np.maximum(gamma / size, 1e-9)
    target = gamma / size * weight
    shape = -np.expm1(-lag_s / taus[:, None]) * weight
    xx, xy, yy = np.sum(shape**2, axis=1), shape @ weight, float(weight @ weight)
    xt, yt = shape @ target, float(weight @ target)
    det = np.maximum(xx * yy - xy**2, 1e-300)
    both = np.stack([(yy * xt - xy * yt) / det, (xx * yt - xy * xt) / det])
    alone = np.stack([xt / xx, np.zeros(taus.size)])
    best = (np.inf, 0.0, dt_s, 0.0)
    for variance, white in (alone, both):
        loss = np.sum((variance[:, None] * shape + white[:, None] * weight - target) ** 2, axis=1)
        loss[(variance < 0.0) | (white < 0.0)] = np.inf
        k = int(np.argmin(loss))
        if loss[k] < best[0]:
            best = (
                float(loss[k]),
                (size * float(variance[k])) ** 0.5,
                float(taus[k]),
                (size * float(white[k])) ** 0.5,
            )
    if not np.isfinite(best[0]):
        return float(np.sqrt(np.mean(gamma))), dt_s, 0.0
    return best[1], best[2], best[3]
