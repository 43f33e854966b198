"""The arithmetic of calibration, and that a sampler that is too sure of itself is found out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from motorfit.calibration.judge import score
from motorfit.calibration.summary import share, summarise, uniform_ranks

BENCHES = 200


def sampled(width: float, shift: float = 0.0) -> list[dict[str, Any]]:
    """Records of a normal posterior known exactly, its width times ``width`` and moved by ``shift``."""
    rng = np.random.default_rng(7)
    records = []
    for seed in range(BENCHES):
        true = rng.normal()  # prior N(0, 1); one measurement with noise 1: posterior N(y / 2, 1 / 2)
        seen = true + rng.normal()
        draws = rng.normal(0.5 * seen + shift, width * 0.5**0.5, 1000)
        records.append(
            {
                "scenario": "sbc",
                "seed": seed,
                "sound": True,
                "path": "fast",
                "wall_s": 2.0,
                "parameters": {"kv": score(draws, true)},
            }
        )
    return records


def test_an_exact_sampler_has_uniform_ranks_and_its_shares() -> None:
    (kv,) = summarise("sbc", sampled(1.0)).parameters
    assert kv.uniform is True
    assert all(one.believed for one in kv.shares)
    assert [one.interval for one in kv.shares] == [0.50, 0.90, 0.95]
    assert kv.mean_z == pytest.approx(0.0, abs=0.2) and kv.mean_abs_z == pytest.approx(0.80, abs=0.12)


@pytest.mark.parametrize(("width", "shift"), [(0.6, 0.0), (1.8, 0.0), (1.0, 0.5)])
def test_one_that_is_too_narrow_too_wide_or_off_is_found_out(width: float, shift: float) -> None:
    (kv,) = summarise("sbc", sampled(width, shift)).parameters
    assert kv.uniform is False
    assert not all(one.believed for one in kv.shares)


def test_the_band_lets_uniform_ranks_out_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    inside = [uniform_ranks(rng.uniform(size=40)) for _ in range(60)]
    assert 0.83 <= np.mean(inside) <= 1.0


def test_a_share_is_jeffreys() -> None:
    # 9 of 10: quantiles of Beta(9.5, 1.5)
    one = share([True] * 9 + [False], 0.9)
    assert (one.held, one.of) == (9, 10)
    assert one.low == pytest.approx(0.619, abs=1e-3) and one.high == pytest.approx(0.989, abs=1e-3)
    assert not share([True] * 10 + [False] * 10, 0.9).believed
    every = share([True] * 10, 0.9)
    assert every.low < 1.0 and every.believed


def test_a_score_is_the_rank_and_the_distance() -> None:
    draws = norm.ppf((np.arange(1000) + 0.5) / 1000)
    found = score(draws.reshape(4, 250), 1.0)
    assert found["u"] == pytest.approx(norm.cdf(1.0), abs=1e-3)
    assert found["z"] == pytest.approx(1.0, abs=0.01)
    assert score(np.ones(10), 1.0) == {"z": 99.0, "u": 0.5}


def test_records_without_ranks_tell_their_one_interval_and_refusals_are_counted() -> None:
    records = [
        {
            "scenario": "rich", "seed": s, "sound": s > 0, "path": "fast",
            "parameters": {"kt": {"z": 0.5, "inside_90": s != 1}},
        }
        for s in range(4)
    ]  # fmt: skip
    told = summarise("rich", [*records, {"scenario": "rich", "seed": 9, "failed": "no run"}])
    (kt,) = told.parameters
    assert (told.benches, told.failed, told.unsound) == (5, 1, 1)
    assert [(one.interval, one.held, one.of) for one in kt.shares] == [(0.90, 3, 4)]
    assert kt.uniform is None and kt.ranks == ()
