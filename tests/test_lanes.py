"""Several draws at once: every lane as numpy has it, whatever its neighbours."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from motorfit.compiled import kernel
from motorfit.lanes import (
    KEYS,
    LANES,
    Array,
    any_of,
    below,
    exponent_of,
    first_of,
    how_many,
    lane,
    load,
    mantissa_of,
    power_of_two,
    same,
    size,
    spread,
    square_root,
    store,
    where,
    with_lane,
)
from motorfit.lanes_math import expm1, exponential, log1p_over, logarithm

RNG = np.random.default_rng(5)


@kernel
def _arithmetic(x: Array, y: Array, out: Array) -> None:
    a, b = load(x, (0,)), load(y, (0,))
    store(out, (0,), a + b * 2.0)
    store(out, (1,), (1.0 - a) / b)
    store(out, (2,), -a)
    store(out, (3,), where((a < b) & ~(a < 0.0), a, 7.0))
    store(out, (4,), where((a >= b) | same(a, 0.5), b, spread(3.0)))
    store(out, (5,), square_root(size(a)))
    store(out, (6,), with_lane(a, 2, lane(b, 1)))
    store(out, (7,), mantissa_of(b) * power_of_two(exponent_of(b)))


def test_arithmetic_is_element_by_element() -> None:
    x, y = RNG.standard_normal((1, LANES)), RNG.uniform(1e-3, 1e3, (1, LANES))
    x[0, 3] = 0.5
    out = np.empty((8, LANES))
    _arithmetic(x, y, out)
    a, b = x[0], y[0]
    swapped = a.copy()
    swapped[2] = b[1]
    wanted = [
        a + 2.0 * b, (1.0 - a) / b, -a, np.where((a < b) & (a >= 0.0), a, 7.0),
        np.where((a >= b) | (a == 0.5), b, 3.0), np.sqrt(np.abs(a)), swapped, b,
    ]  # fmt: skip
    np.testing.assert_allclose(out, wanted, rtol=1e-15)


@kernel
def _whether(x: Array) -> tuple[bool, bool]:
    a = load(x, (0,))
    return any_of(a > 1.0), any_of(same(a, a))


def test_whether_some_lane_holds() -> None:
    x = np.zeros((1, LANES))
    assert _whether(x) == (False, True)
    x[0, LANES - 1] = 2.0
    assert _whether(x) == (True, True)
    x[:] = np.nan
    assert _whether(x) == (False, False)


@kernel
def _elementary(x: Array, out: Array) -> None:
    for k in range(x.shape[0]):
        a = load(x, (k,))
        store(out, (0, k), exponential(a))
        store(out, (1, k), expm1(a))
        store(out, (2, k), logarithm(size(a)))
        store(out, (3, k), log1p_over(a))


@pytest.mark.parametrize("widest", [1e-9, 1e-3, 0.99, 40.0])
def test_elementary_functions_are_exact_to_rounding(widest: float) -> None:
    x = RNG.uniform(-min(widest, 0.99), widest, (50, LANES))
    out = np.empty((4, 50, LANES))
    _elementary(x, out)
    functions: list[Callable[[Array], Array]] = [
        np.exp, np.expm1, lambda a: np.log(np.abs(a)), lambda a: np.log1p(a) / a,
    ]  # fmt: skip
    for got, function in zip(out, functions, strict=True):
        # where a logarithm passes zero its own rounding stays, not that of its value
        np.testing.assert_allclose(got, function(x), rtol=3e-15, atol=2e-16)


def test_a_lane_does_not_know_its_neighbours() -> None:
    x = RNG.uniform(-0.9, 3.0, (1, LANES))
    together, alone = np.empty((4, 1, LANES)), np.empty((4, 1, LANES))
    _elementary(x, together)
    for j in range(LANES):
        _elementary(np.full((1, LANES), x[0, j]), alone)
        np.testing.assert_array_equal(alone[..., j], together[..., j])


def test_the_far_ends_of_the_exponential() -> None:
    x = np.array([[-1e6, -800.0, 800.0, 1e6] * (LANES // 4)])
    out = np.empty((4, 1, LANES))
    _elementary(x, out)
    assert np.all(out[0, 0, :2] < 1e-300)
    assert np.all(np.isfinite(out[0]))
    np.testing.assert_array_equal(out[1, 0, :2], -1.0)


@kernel
def _below(keys: Any, marks: Any, bits: Any, told: Any) -> None:
    for k in range(marks.shape[0]):
        bits[k] = below(keys, 3, marks[k])
        told[k, 0] = how_many(bits[k])
        told[k, 1] = first_of(bits[k]) if bits[k] else -1


def test_keys_below_a_mark_are_the_bits_of_a_word() -> None:
    keys = RNG.normal(size=KEYS + 7).astype(np.float32)
    keys[5] = np.nan
    marks = np.array([-np.inf, np.nanmin(keys), -0.3, keys[20], 0.9, np.inf, np.nan], dtype=np.float32)
    bits, told = np.empty(marks.size, dtype=np.uint64), np.empty((marks.size, 2), dtype=np.int64)
    _below(keys, marks, bits, told)
    for mark, word, (number, first) in zip(marks, bits, told, strict=True):
        wanted = keys[3 : 3 + KEYS] < mark
        assert [bool(int(word) >> k & 1) for k in range(KEYS)] == wanted.tolist()
        assert number == wanted.sum()
        assert first == (np.argmax(wanted) if wanted.any() else -1)
