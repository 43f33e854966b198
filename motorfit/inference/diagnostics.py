"""What a statistician asks of a posterior, each with a plain sentence of what it means and what to do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from motorfit.inference.ensemble import EnsembleDraws
from motorfit.inference.fast import FastDraws, k_threshold
from motorfit.inference.graph import MEASURED
from motorfit.inference.optimum import Optimum
from motorfit.inference.priors import HalfNormal
from motorfit.inference.scrutiny import scrutinise
from motorfit.inference.target import Target

__all__ = ["diagnose"]

Array = npt.NDArray[np.float64]

_DIRECTIONS = 3
_WEIGHTY = 0.3


def diagnose(
    target: Target, optimum: Optimum, fast: FastDraws, reference: EnsembleDraws | None, method: str
) -> dict[str, Any]:
    """Diagnostics of a fit, all plain JSON values.

    Parameters
    ----------
    target, optimum : of the fit
    fast : the fast path's draws
    reference : the reference path's, where it ran
    method : which of the two is stored: "fast" or "ensemble"
    """
    z = fast.z if reference is None else reference.z
    if reference is None:
        # draws have no order here: copies and walkers tell how many there are, groups how far they agree
        ess = walked_ess(fast.z, fast.stations) if fast.moved else fast.ess
        r_hat = fast.r_hat
    else:
        ess, r_hat = _mixing(z)
        # an order of draws over many walkers hides how long each of them remembers
        ess = min(ess, reference.evaluations / reference.autocorrelation)
    out: dict[str, Any] = {
        "method": method,
        "sound": fast.sound if method == "fast" else bool(reference is not None and reference.converged),
        "pareto_k": round(fast.pareto_k, 3),
        "pareto_k_threshold": round(k_threshold(fast.z.shape[0] * fast.z.shape[1]), 3),
        "ess_bulk": round(ess, 1),
        "r_hat": round(r_hat if reference is None else reference.r_hat, 4),
        "stages": fast.stages,
        "moved": fast.moved,
        "acceptance": round(fast.acceptance, 3),
        "model_evaluations": fast.evaluations + (reference.evaluations if reference is not None else 0),
        "optimum": {
            "chi2": round(logged_chi2(target, optimum.z), 1),
            "residuals": int(np.count_nonzero(target.isd[target.flat.logged])),
            "evaluations": optimum.evaluations,
            "condition": float(f"{optimum.condition:.3g}"),
        },
        "at_bounds": at_bounds(target, z),
        "directions": directions(target, z),
        "slow_error": {
            name: float(f"{size:.3g}")
            for name, size in zip(MEASURED, target.slow.size, strict=False)
            if size > 0.0
        },
    }  # fmt: skip
    if reference is not None:
        out["ensemble"] = {
            "autocorrelation_steps": round(reference.autocorrelation, 1),
            "steps": reference.steps,
            "evaluations": reference.evaluations,
            "acceptance": round(reference.acceptance, 3),
            "converged": reference.converged,
        }
        out["fast_against_ensemble"] = divergence(
            fast.z, reference.z, [c.name for c in target.graph.coordinates]
        )
    closer = scrutinise(target, z.reshape(-1, z.shape[-1]))
    out["sentences"] = [*sentences(out), *closer.pop("sentences")]
    out |= closer
    return out


def logged_chi2(target: Target, z: Array) -> float:
    """Sum of squared residuals of logged runs at a position; steady rows have a scatter of their own and are
    left out."""
    rows = target.residuals(z[None, :])[0]
    slots = target.slot[target.flat.logged]
    return float(np.sum(rows[slots[slots >= 0]] ** 2))


def _mixing(z: Array) -> tuple[float, float]:
    """Smallest bulk ESS and largest R̂ over coordinates of draws (chain, draw, coordinate)."""
    from arviz_stats.base import array_stats  # type: ignore[attr-defined]

    moved = np.moveaxis(z, -1, 0)
    stats: Any = array_stats  # untyped
    ess = stats.ess(moved, chain_axis=1, draw_axis=2, method="bulk")
    r_hat = stats.rhat(moved, chain_axis=1, draw_axis=2, method="rank")
    return float(np.min(ess)), float(np.max(r_hat))


def walked_ess(z: Array, stations: int) -> float:
    """Smallest effective sample size of walkers kept at several stations of their way.

    Parameters
    ----------
    z : (groups, stations · walkers, coordinates), a station after the other, walkers in one order
    stations : how many

    Walkers count as independent; what a later station adds follows from its correlation with those before.
    """
    groups, total, d = z.shape
    way = z.reshape(groups, stations, total // stations, d)
    way = (way - way.mean(axis=(0, 1, 2))) / np.maximum(way.std(axis=(0, 1, 2)), 1e-300)
    spread = np.ones(d)
    for lag in range(1, stations):
        along = np.mean(way[:, lag:] * way[:, :-lag], axis=(0, 1, 2))
        spread += 2.0 * (1.0 - lag / stations) * np.maximum(along, 0.0)
    return float(groups * total / spread.max())


def at_bounds(target: Target, z: Array) -> list[str]:
    """Effects whose posterior touches zero: they may be absent."""
    flat = z.reshape(-1, z.shape[-1])
    out = []
    for i, c in enumerate(target.graph.coordinates):
        if isinstance(c.prior, HalfNormal):
            low, middle = np.quantile(flat[:, i], (0.02, 0.5))
            if low < 0.15 * middle:
                out.append(c.name)
    return out


def directions(target: Target, z: Array) -> dict[str, Any]:
    """Eigen-directions of the posterior relative to the prior: what is known best, and what the runs left
    open.

    Three-way degeneracies, as of a torque constant with two gains, do not show in pairwise correlations.
    """
    flat = z.reshape(-1, z.shape[-1])
    names = [c.name for c in target.graph.coordinates]
    values, vectors = np.linalg.eigh(np.cov(flat.T))

    def described(k: int) -> dict[str, Any]:
        v = vectors[:, k] * np.sign(vectors[np.argmax(np.abs(vectors[:, k])), k])
        top = [i for i in np.argsort(-np.abs(v))[:5] if abs(v[i]) > _WEIGHTY * np.abs(v).max()]
        return {
            "sd_over_prior": float(f"{np.sqrt(max(values[k], 0.0)):.3g}"),
            "combination": {names[i]: round(float(v[i]), 2) for i in top},
        }

    count = min(_DIRECTIONS, len(names))
    return {
        "best_known": [described(k) for k in range(count)],
        "least_known": [described(len(names) - 1 - k) for k in range(count)],
    }


def divergence(first: Array, second: Array, names: list[str]) -> dict[str, Any]:
    """Where the fast path and the reference differ most: shift in standard deviations, and ratio of
    widths."""
    a, b = first.reshape(-1, first.shape[-1]), second.reshape(-1, second.shape[-1])
    sd = b.std(axis=0)
    shift = (a.mean(axis=0) - b.mean(axis=0)) / sd
    ratio = a.std(axis=0) / sd
    i, j = int(np.argmax(np.abs(shift))), int(np.argmax(np.abs(np.log(ratio))))
    return {
        "largest_shift_sd": round(float(shift[i]), 3), "of": names[i],
        "largest_width_ratio": round(float(ratio[j]), 3), "width_of": names[j],
    }  # fmt: skip


def sentences(d: Mapping[str, Any]) -> list[str]:
    """What the diagnostics mean, and what to do."""
    said = []
    if d["method"] == "fast" and not d["moved"]:
        verdict = (
            "the draws can be trusted" if d["sound"] else "do not trust them: fit with --method ensemble"
        )
        said.append(
            f"Pareto k is {d['pareto_k']:.2f}, threshold {d['pareto_k_threshold']:.2f}: importance weights "
            f"are even enough when below, so {verdict}."
        )
    elif d["method"] == "fast":
        verdict = "kept moving" if d["sound"] else "stuck; fit with --method ensemble"
        said.append(
            f"Importance weights were uneven (Pareto k {d['pareto_k']:.2f}), so the draws were moved on "
            f"in {d['stages']} stage(s); they {verdict} (largest R-hat {d['r_hat']:.3f})."
        )
    else:
        verdict = (
            "converged"
            if d["sound"]
            else "not converged: raise no conclusion from it, look for contradicting runs"
        )
        said.append(f"Reference ensembles: {verdict} (largest R-hat {d['r_hat']:.3f}, 1.01 allowed).")
    said.append(
        f"Smallest effective sample size {d['ess_bulk']:.0f}: interval ends are known to about "
        f"{100.0 * 2.0 / max(d['ess_bulk'], 1.0) ** 0.5:.0f} % of a standard deviation."
    )
    chi2, n = d["optimum"]["chi2"], max(d["optimum"]["residuals"], 1)
    if chi2 > 1.3 * n:
        said.append(
            f"The model leaves {chi2 / n:.2f} times the noise it should: a run contradicts the others or "
            "the model. Look at the residual plots, run by run."
        )
    for channel, size in d["slow_error"].items():
        said.append(
            f"The {channel} channel wanders off the model by about {100.0 * size:.2g} % of its largest "
            "reading; its intervals include that."
        )
    return said
