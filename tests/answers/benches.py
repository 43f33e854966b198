"""Made-up fits of several motors on one bench, with a known truth, so that comparisons can be judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tests.answers.standin import StandIn, make_fit

GAIN = {"kv": 0.004, "kt_kv_ratio": 0.008, "winding_resistance": 0.01, "rotor_inertia": 0.005}
OWN = {"kv": 0.0003, "kt_kv_ratio": 0.0005, "winding_resistance": 0.001, "rotor_inertia": 0.001}


def one_bench(
    rng: np.random.Generator,
    truths: Sequence[dict[str, float]],
    *,
    names: Sequence[str] = ("tern-2807", "gull-2306", "skua-2810"),
    campaign: str = "20300102T030405.678901Z-9f86d081",
    bench: str = "north quay",
    facts: Sequence[dict[str, Any]] = (),
    draws: int | None = None,
) -> list[StandIn]:
    """Fit motors as a bench would: each off by one error that all share, and by a small one of its own.

    Every draw is the estimate moved by a shared deviate (equal in row i of all motors) and by an own one;
    estimate and draws scatter alike, so that the draws are calibrated for the truth.
    """
    base = make_fit(7, "any")
    if draws is not None:
        base = _repeated(base, draws)
    shape = base.draws["kv"].shape
    off = {name: rng.standard_normal() for name in GAIN}
    shared = {name: rng.standard_normal(shape) for name in GAIN}
    fits = []
    for k, truth in enumerate(truths):
        own = {name: values.copy() for name, values in base.draws.items()}
        for name in GAIN:
            middle = np.log(truth[name]) + GAIN[name] * off[name] + OWN[name] * rng.standard_normal()
            own[name] = np.exp(middle + GAIN[name] * shared[name] + OWN[name] * rng.standard_normal(shape))
        own["kt"] = own["kt_kv_ratio"] * 60.0 / (2.0 * np.pi) / own["kv"]
        motor = {"mass_g": 48.2, "label_kv": 1300.0, **(facts[k] if facts else {})}
        fits.append(
            replace(
                base,
                motor=names[k],
                fit_id=f"{campaign}-{k + 1}",
                draws=own,
                constant={**base.constant, "motor": motor},
                attributes={**base.attributes, "bench": bench, "inputs_sha256": {"a": campaign}},
            )
        )
    return fits


def _repeated(fit: StandIn, draws: int) -> StandIn:
    """A fit with another number of draws, its own repeated: for timing, where only their number matters."""
    found = {}
    for name, values in fit.draws.items():
        flat = values.reshape(1, -1, *values.shape[2:])
        found[name] = np.ascontiguousarray(flat[:, np.arange(draws) % flat.shape[1]])
    return replace(fit, draws=found)


TRUTH = {"kv": 1300.0, "kt_kv_ratio": 0.96, "winding_resistance": 0.060, "rotor_inertia": 5e-6}


def near(rng: np.random.Generator, spread: float, truth: dict[str, float] = TRUTH) -> dict[str, float]:
    """Return a motor whose parameters lie a relative spread from another's."""
    return {name: value * float(np.exp(spread * rng.standard_normal())) for name, value in truth.items()}
