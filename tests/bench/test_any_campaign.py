"""Whatever a campaign file holds, the outcome is a campaign or a list of faults, never another exception."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from motorfit.bench.campaign import _Loader
from motorfit.bench.faults import Fault
from tests.bench.test_campaign import FULL

_ODD = st.one_of(
    st.none().map(lambda _: {}),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.text(max_size=4), st.integers(), max_size=2),
)


def _places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from _places(inner, (*path, key))


_WHOLE = tomllib.loads(FULL)
_PLACES = sorted(_places(_WHOLE), key=str)


@given(st.lists(st.tuples(st.sampled_from(_PLACES), _ODD), min_size=1, max_size=3))
def test_odd_values_anywhere(changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    raw: Any = copy.deepcopy(_WHOLE)
    for path, value in changes:
        parent = raw
        try:
            for key in path[:-1]:
                parent = parent[key]
            parent[path[-1]] = value
        except (KeyError, IndexError, TypeError, AttributeError):
            continue  # an earlier change took the place away
    faults: list[Fault] = []
    campaign = _Loader(Path("none/campaign.toml"), faults).campaign(raw, "00")
    assert campaign is None and faults  # the log files do not exist
    assert all(f.path and f.allowed and f.remedy and str(f) for f in faults)
