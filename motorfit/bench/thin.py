"""Fewer points of a raw curve that look the same when drawn.

A curve is cut into equal spans of time, and of each span its first, last, least and greatest value are kept:
drawn as a line on as many columns of pixels, it is the same picture. U. Jugel, Z. Jerzak, G. Hackenbroich,
V. Markl, "M4: A Visualization-Oriented Time Series Data Aggregation", PVLDB 7(10), 2014,
doi:10.14778/2732951.2732953.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_KEPT_PER_SPAN = 4


def kept_rows(time_s: NDArray[np.float64] | None, values: NDArray[np.float64], most: int) -> NDArray[np.intp]:
    """Which rows to draw, rising; NaN are left out, and at most ``most`` (4 or more) are kept.

    Parameters
    ----------
    time_s : (n,) rising [s]; None counts rows instead
    values : (n,) in any unit
    """
    finite = np.flatnonzero(np.isfinite(values))
    if finite.size <= most:
        return finite
    place = finite.astype(np.float64) if time_s is None else time_s[finite]
    spans = max(most // _KEPT_PER_SPAN, 1)
    width = (place[-1] - place[0]) / spans
    edges = np.searchsorted(place, place[0] + width * np.arange(1, spans))
    kept: list[int] = []
    for part in np.split(finite, edges):
        if part.size:
            inside = values[part]
            kept += [part[0], part[np.argmin(inside)], part[np.argmax(inside)], part[-1]]
    return np.unique(np.asarray(kept, dtype=np.intp))
