from __future__ import annotations

import gc
from functools import partial
from types import SimpleNamespace
from typing import Any

from motorfit.answers import remember
from motorfit.answers.remember import remembered


def _fit() -> Any:
    class Fit(SimpleNamespace):
        pass

    return Fit()


def test_a_thing_is_made_once_a_fit_a_kind_and_a_key() -> None:
    made: list[int] = []

    def make() -> int:
        made.append(len(made))
        return made[-1]

    one, other = _fit(), _fit()
    asked = [(one, "a", 1), (one, "a", 1), (one, "b", 1), (one, "a", 2), (other, "a", 1), (one, "a", 1)]
    assert [remembered(*each, make) for each in asked] == [0, 0, 1, 2, 3, 0]


def test_the_longest_unused_key_goes_first() -> None:
    fit = _fit()
    for key in (1, 2, 1, 3):
        remembered(fit, "a", key, partial(int, key), most=2)
    assert remembered(fit, "a", 1, lambda: 0, most=2) == 1
    assert remembered(fit, "a", 2, lambda: 0, most=2) == 0


def test_what_was_made_of_a_fit_goes_with_it() -> None:
    fit = _fit()
    number = id(fit)
    remembered(fit, "a", 1, lambda: 0)
    assert number in remember._KEPT
    del fit
    gc.collect()
    assert number not in remember._KEPT


def test_a_fit_that_cannot_be_watched_is_asked_anew() -> None:
    made: list[int] = []
    for _ in range(2):
        remembered((1, 2), "a", 1, lambda: made.append(1))  # type: ignore[arg-type]
    assert len(made) == 2
