"""What was believed before the runs, beside what is believed after them."""

from __future__ import annotations

from typing import Any

import numpy as np

from motorfit.answers.plain import numbers
from motorfit.answers.posterior import FitWithData, FloatArray, flat
from motorfit.answers.show import quantiles
from motorfit.quantities import PARAMETERS

BINS = 40


def prior_table(fit: FitWithData, interval: float) -> dict[str, Any]:
    """Return prior and posterior of each parameter that has both, as intervals and as shares of draws.

    Parameters
    ----------
    fit: a fit with its prior draws.
    interval: probability inside each interval.

    Returns
    -------
    dict
        By name (``kv``, ``thrust_coefficient[p7x35x3]``): symbol, unit, meaning, and under ``prior`` and
        ``posterior`` median, low, high; under ``shares`` the share of draws in each of 40 bins between
        ``edges`` (41,), which span the middle 99 % of the posterior; null where draws are not finite.
    """
    found: dict[str, Any] = {}
    for name in fit.draws:
        if name not in fit.prior:
            continue
        after, before = flat(fit.draws[name]), flat(fit.prior[name])
        if after.ndim == 1:
            found[name] = _one(name, after, before, interval)
            continue
        for column, propeller in enumerate(fit.propellers):
            key = f"{name}[{propeller}]"
            found[key] = _one(name, after[:, column], before[:, column], interval)
    return found


def _one(name: str, after: FloatArray, before: FloatArray, interval: float) -> dict[str, Any]:
    quantity = PARAMETERS.get(name)
    return {
        "symbol": name if quantity is None else quantity.symbol,
        "unit": "1" if quantity is None else quantity.unit,
        "meaning": "" if quantity is None else quantity.meaning,
        "prior": _spread(before, interval),
        "posterior": _spread(after, interval),
        "shares": _shares(after, before),
    }


def _spread(draws: FloatArray, interval: float) -> dict[str, float | None]:
    tail = 0.5 * (1.0 - interval)
    low, median, high = numbers(np.asarray(quantiles(draws, (tail, 0.5, 1.0 - tail))))
    return {"median": median, "low": low, "high": high}


def _shares(after: FloatArray, before: FloatArray) -> dict[str, Any] | None:
    if not (np.isfinite(after).all() and np.isfinite(before).all()):
        return None
    low, high = np.quantile(after, (0.005, 0.995))
    if not high > low:
        return None
    edges = np.linspace(low, high, BINS + 1)
    counted = {
        kind: np.histogram(draws, edges)[0] / draws.size
        for kind, draws in (("posterior", after), ("prior", before))
    }
    return {"edges": numbers(edges), **{kind: numbers(shares) for kind, shares in counted.items()}}
