from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from motorfit.bench.thin import kept_rows


def test_extremes_and_ends_of_every_span_are_kept(rng: np.random.Generator) -> None:
    time = np.cumsum(rng.uniform(0.001, 0.002, 20_000))
    values = np.sin(3.0 * time) + 0.1 * rng.standard_normal(time.size)
    values[12_345] = 50.0
    values[777:900] = np.nan
    kept = kept_rows(time, values, 400)
    assert kept.size <= 400
    assert 12_345 in kept
    assert not np.isnan(values[kept]).any()
    edges = np.linspace(time[0], time[-1], 101)
    for low, high in itertools.pairwise(edges):
        inside = (time >= low) & (time < high)
        thin = np.isin(np.arange(time.size), kept) & inside
        assert np.nanmin(values[inside]) == values[thin].min()
        assert np.nanmax(values[inside]) == values[thin].max()


def test_few_points_stay_as_they_are() -> None:
    assert kept_rows(None, np.array([1.0, np.nan, 3.0]), 10).tolist() == [0, 2]
    assert kept_rows(None, np.full(5, np.nan), 10).size == 0


@given(st.lists(st.floats(allow_infinity=False, width=32), max_size=300), st.integers(4, 60))
def test_never_more_than_asked_and_always_rising(values: list[float], most: int) -> None:
    kept = kept_rows(None, np.asarray(values, dtype=np.float64), most)
    assert kept.size <= most
    assert (np.diff(kept) > 0).all()
