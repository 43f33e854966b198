"""Which propellers are of one make: every way to sort them that agrees with what is told, and its weight.

A make here is what propellers share beyond size, pitch and blades: one maker's line of them. Where nobody
tells the makes, all sortings count, each with the weight of the Ewens distribution: a further propeller is
of a make with c others with probability c/(n + α), of a new one with α/(n + α) (J. Pitman, Combinatorial
Stochastic Processes, Lecture Notes in Mathematics 1875, 2006, doi 10.1007/b11601500, ch. 3).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import islice

NEW_MAKE = 2.0
"""α above: of six propellers nobody told about, some three and a half makes.

Of 1/2, 1, 2 and 7.5 (what 20 makes among 93 published propellers would say) it foretells published
propellers best that were left out.
"""

MOST_SORTINGS = 210
"""All sortings of six propellers that nobody told the make of are 203."""


@lru_cache(maxsize=256)
def sortings(makes: tuple[str, ...]) -> tuple[tuple[tuple[int, ...], float], ...]:
    """Return every sorting of propellers into makes and its weight [1]; the weights sum to 1.

    Parameters
    ----------
    makes:
        What is told of each propeller; the empty string where nothing is. Two that are told are alike where
        the words are equal, and only there.

    Returns
    -------
    Pairs of a group number for each propeller, (propellers,), and a weight.
    """
    found = list(_sorted_further((), makes))
    logs = [_log_weight(groups) for groups in found]
    top = max(logs)
    total = sum(math.exp(value - top) for value in logs)
    return tuple((g, math.exp(value - top) / total) for g, value in zip(found, logs, strict=True))


def count_within(makes: Sequence[str], most: int = MOST_SORTINGS) -> bool:
    """Say whether there are no more than ``most`` sortings."""
    return len(list(islice(_sorted_further((), tuple(makes)), most + 1))) <= most


def _sorted_further(groups: tuple[int, ...], makes: tuple[str, ...]) -> Iterator[tuple[int, ...]]:
    if len(groups) == len(makes):
        yield groups
        return
    told = makes[len(groups)]
    for group in range(max(groups, default=-1) + 2):
        others = {makes[k] for k, g in enumerate(groups) if g == group} - {""}
        if told and others - {told}:
            continue
        elsewhere = told and any(makes[k] == told and g != group for k, g in enumerate(groups))
        if not elsewhere:
            yield from _sorted_further((*groups, group), makes)


def _log_weight(groups: Sequence[int]) -> float:
    sizes = [groups.count(group) for group in set(groups)]
    return sum(math.log(NEW_MAKE) + math.lgamma(size) for size in sizes)
