"""Ranks, scores and dominance against what can be counted by hand."""

from __future__ import annotations

import numpy as np
import pytest

from motorfit.answers.metrics import metric_of
from motorfit.answers.ranking import dominance, rank_probabilities, score, weights_of

THRUST, EFFICIENCY, RISE = (metric_of(n) for n in ("max_thrust_n", "peak_efficiency", "rise_time_s"))


def test_ranks_count_draws() -> None:
    values = np.array([[3.0, 1.0, 3.0, 2.0], [2.0, 2.0, 2.0, 3.0], [1.0, 3.0, np.nan, 1.0]])
    assert rank_probabilities(values, 1).tolist() == [[0.5, 0.25, 0.25], [0.25, 0.75, 0.0], [0.25, 0.0, 0.75]]
    assert rank_probabilities(values[:2], -1)[0].tolist() == [0.5, 0.5]


def test_a_score_is_a_weighted_mean_of_log_ratios() -> None:
    values = {
        "max_thrust_n": np.array([[11.0] * 3, [10.0] * 3]),
        "rise_time_s": np.array([[0.06] * 3, [0.05] * 3]),
    }
    metrics = {m.name: m for m in (THRUST, RISE)}
    weights = weights_of({"max_thrust_n": 3.0, "rise_time_s": 1.0}, metrics)
    found = score(values, metrics, weights, ("a", "b"))
    gap = found.draws["a"] - found.draws["b"]
    assert gap == pytest.approx(0.75 * np.log(1.1) - 0.25 * np.log(1.2))
    assert found.leader == "a"
    # Tied where w log 1.1 = (1 − w) log 1.2.
    tie = np.log(1.2) / (np.log(1.1) + np.log(1.2))
    assert found.kept_while["max_thrust_n"] == pytest.approx((tie, 1.0))
    assert found.kept_while["rise_time_s"] == pytest.approx((0.0, 1.0 - tie))
    assert found.ranks["a"] == (1.0, 0.0)
    assert 0.0 <= found.ranks_over_weights["a"][0] <= 1.0


def test_weights_near_a_tie_are_told() -> None:
    rng = np.random.default_rng(0)
    size = 4000
    values = {
        "max_thrust_n": np.stack([11.0 + 0 * rng.standard_normal(size), np.full(size, 10.0)]),
        "peak_efficiency": np.stack([np.full(size, 0.70), np.full(size, 0.76)]),
    }
    metrics = {m.name: m for m in (THRUST, EFFICIENCY)}
    found = score(values, metrics, weights_of(dict.fromkeys(values, 1.0), metrics), ("a", "b"))
    assert found.ranks[found.leader] == (1.0, 0.0)
    assert 0.5 < found.ranks_over_weights[found.leader][0] < 0.95
    assert "over weights" in found.note and "weighs" in found.note


def test_dominance_needs_every_metric() -> None:
    values = {
        "max_thrust_n": np.array([[2.0, 2.0, 2.0, 1.0], [1.0, 1.0, 1.0, 2.0]]),
        "rise_time_s": np.array([[0.1, 0.3, 0.1, 0.3], [0.2, 0.2, 0.2, 0.2]]),
    }
    found = dominance(values, (THRUST, RISE), ("a", "b"))
    assert found is not None
    assert found.dominates.tolist() == [[0.0, 0.5], [0.25, 0.0]]
    assert found.front.tolist() == [0.75, 0.5]
    assert dominance(values, (THRUST,), ("a", "b")) is None
