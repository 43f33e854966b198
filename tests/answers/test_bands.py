from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from motorfit.answers.bands import band, bands, check_interval
from motorfit.answers.errors import AnswerError

VALUES = arrays(np.float64, st.tuples(st.integers(1, 5), st.integers(1, 40)), elements=st.floats(-1e6, 1e6))


@given(values=VALUES, interval=st.floats(0.05, 0.99))
def test_a_band_is_the_quantiles_of_its_row(values: np.ndarray, interval: float) -> None:
    found = band(values, interval)
    tail = 0.5 * (1.0 - interval)
    expected = np.quantile(values, (0.5, tail, 1.0 - tail), axis=1)
    np.testing.assert_allclose((found.median, found.low, found.high), expected, rtol=1e-12, atol=1e-9)
    assert (found.low <= found.median).all()
    assert (found.median <= found.high).all()


def test_draws_without_an_answer_are_left_out_until_they_are_the_most() -> None:
    values = np.array([[1.0, 2.0, 3.0, np.nan], [1.0, np.nan, np.nan, np.nan], [np.nan] * 4])
    found = band(values, 0.5)
    np.testing.assert_allclose(found.median, [2.0, np.nan, np.nan])
    assert found.to_json()["median"] == [2.0, None, None]


def test_an_infinite_draw_does_not_spoil_a_finite_quantile() -> None:
    found = band(np.array([[1.0, 2.0, np.inf]]), 0.5)
    assert found.median[0] == 2.0


def test_many_values_give_the_same_in_threads(rng: np.random.Generator) -> None:
    values = {name: rng.normal(size=(30, 4001)) for name in ("a", "b")}
    together = bands(values, 0.9)
    assert list(together) == ["a", "b"]
    for name, array in values.items():
        np.testing.assert_array_equal(together[name].high, band(array, 0.9).high)


@pytest.mark.parametrize("interval", [0.0, 1.0, 90.0, float("nan")])
def test_an_interval_that_is_no_probability_is_refused(interval: float) -> None:
    with pytest.raises(AnswerError, match=r"interval: .* allowed: a probability from 0\.01 to 0\.999"):
        check_interval(interval)
