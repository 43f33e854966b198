"""What is worked out of a fit once and asked for again: kept for as long as the fit itself is kept."""

from __future__ import annotations

import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Hashable
from functools import partial
from typing import Any, TypeAlias, TypeVar

from motorfit.answers.posterior import FitLike

T = TypeVar("T")

_Kept: TypeAlias = dict[int, tuple[weakref.ref[Any], OrderedDict[Hashable, Any]]]
_KEPT: _Kept = {}
_LOCK = threading.Lock()


def remembered(fit: FitLike, kind: str, key: Hashable, make: Callable[[], T], most: int = 64) -> T:
    """Return what ``make`` returned for this fit, kind and key before, else what it returns now.

    Of each kind the ``most`` keys last used are kept. A fit is taken never to change; two fits are told apart
    by identity, so that a changed copy of one starts anew. What is returned is shared, not to be changed.
    """
    with _LOCK:
        held = _KEPT.get(id(fit))
        if held is None or held[0]() is not fit:
            number = id(fit)
            try:
                alive = weakref.ref(fit, partial(_forget, _KEPT, number))
            except TypeError:  # a fit that cannot be watched is not remembered
                return make()
            held = _KEPT[number] = (alive, OrderedDict())
        kept: OrderedDict[Hashable, Any] = held[1].setdefault(kind, OrderedDict())
        if key in kept:
            kept.move_to_end(key)
            found: T = kept[key]
            return found
    made = make()
    with _LOCK:
        kept[key] = made
        while len(kept) > most:
            kept.popitem(last=False)
    return made


def _forget(all_kept: dict[int, tuple[weakref.ref[Any], Any]], number: int, gone: weakref.ref[Any]) -> None:
    # The number may have been given to another fit meanwhile. No lock: this may run while it is held.
    held = all_kept.get(number)
    if held is not None and held[0] is gone:
        all_kept.pop(number, None)
