from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from motorfit.answers.bands import RisingBands, band, bands, check_interval
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


def test_a_band_that_comes_in_pieces_is_the_band_of_the_whole(rng: np.random.Generator) -> None:
    spread, middle = np.linspace(0.0, 3.0, 30)[:, np.newaxis], rng.normal(size=(30, 1))
    values = middle + spread * rng.normal(size=4001)  # where a row's quantiles lie tells nothing of the next
    values[7, :3000] = np.nan
    values[11, :5] = np.inf
    rising = RisingBands(2, 30, 0.9)
    for first in range(0, 30, 4):
        rising.add(np.stack((-values[first : first + 4], values[first : first + 4])))
    whole, alone = rising.band(1, 2.0), [band(row[np.newaxis, :], 0.9) for row in values]
    np.testing.assert_array_equal(whole.high, 2.0 * np.array([one.high[0] for one in alone]))
    assert list(bands({"a": values, "b": values}, 0.9)) == ["a", "b"]
    assert np.isnan(whole.median[7])


SHAPES: dict[str, Callable[[np.random.Generator], NDArray[np.float64]]] = {
    "normal": lambda rng: rng.normal(size=999),
    "equal": lambda rng: np.full(999, 3.5),
    "two values": lambda rng: rng.integers(0, 2, 999).astype(float),
    "far outliers": lambda rng: rng.standard_cauchy(999) ** 3,
    "all but one equal": lambda rng: np.r_[np.zeros(998), 1e300],
    "tiny": lambda rng: rng.normal(size=999) * 5e-324,
    "infinite both ways": lambda rng: np.r_[rng.normal(size=899), np.full(30, np.inf), np.full(70, -np.inf)],
    "huge": lambda rng: rng.normal(size=999) * 1e300,
    "one": lambda rng: np.array([2.0]),
    "two": lambda rng: np.array([2.0, -1.0]),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_any_shape_of_draws_has_the_quantiles_of_the_sorted_draws(
    shape: str, rng: np.random.Generator
) -> None:
    row = SHAPES[shape](rng)
    for interval in (0.5, 0.9, 0.99):
        found = band(row[np.newaxis, :], interval)
        ordered = np.sort(row)
        for value, q in zip((found.low, found.median, found.high), (-0.5, 0.0, 0.5), strict=True):
            position = (0.5 + q * interval) * (row.size - 1)
            below = int(position)
            above, weight = min(below + 1, row.size - 1), position - below
            left, right = ordered[below], ordered[above]
            wanted = left if weight < 1e-12 or left in (right, -np.inf) else left + weight * (right - left)
            np.testing.assert_allclose(value[0], wanted, rtol=1e-9)


def test_rows_that_leap_are_as_exact_as_rows_that_creep(rng: np.random.Generator) -> None:
    makers = [SHAPES[name] for name in SHAPES if name not in ("one", "two", "infinite both ways", "huge")]
    rows = np.stack(
        [np.resize(makers[k](rng), 999) * 10.0 ** (k % 5) + k for k in rng.integers(0, len(makers), 60)]
    )
    found = band(rows, 0.9)
    low, middle, high = np.quantile(rows, (0.05, 0.5, 0.95), axis=1)
    np.testing.assert_allclose(found.low, low, rtol=1e-12)
    np.testing.assert_allclose(found.median, middle, rtol=1e-12)
    np.testing.assert_allclose(found.high, high, rtol=1e-12)


@pytest.mark.parametrize("interval", [0.0, 1.0, 90.0, float("nan")])
def test_an_interval_that_is_no_probability_is_refused(interval: float) -> None:
    with pytest.raises(AnswerError, match=r"interval: .* allowed: a probability from 0\.01 to 0\.999"):
        check_interval(interval)
