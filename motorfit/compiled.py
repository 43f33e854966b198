"""Compiled kernels whose disk cache is keyed by the source of all of them.

numba keeps compiled code on disk but looks only at the file a function stands in: when a function it calls
changes in another file, the stale code would go on giving the old numbers.  Here the cache folder carries a
hash of every file that holds kernels, so any change compiles anew, and nothing else ever does.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

__all__ = ["kernel"]

F = TypeVar("F", bound=Callable[..., Any])

_SOURCES = (
    "lanes.py",
    "lanes_math.py",
    "physics/motor.py",  # its constants are frozen into kernels
    "physics/rows.py",  # its slots too
    "physics/slots.py",
    "physics/regimes.py",
    "physics/transient.py",
    "physics/transient_lanes.py",
    "physics/advance.py",
    "physics/forward.py",
    "physics/speed_change.py",
    "physics/balance.py",
    "physics/block.py",
    "physics/sweep.py",
    "physics/axes.py",
    "physics/demand.py",
    "physics/endurance.py",
    "inference/late_channels.py",
    "inference/kernels.py",
    "inference/evidence_kernels.py",
    "answers/selection.py",
    "synthetic/integrate.py",
    "synthetic/sensors.py",
)


@cache
def _cache_folder() -> str:
    from platformdirs import user_cache_dir

    digest = hashlib.sha256()
    here = Path(__file__).parent
    for name in _SOURCES:
        path = here / name
        if path.exists():
            digest.update(path.read_bytes())
    return str(Path(user_cache_dir("motorfit")) / "kernels" / digest.hexdigest()[:16])


def kernel(function: F) -> F:
    """Compile a function of scalar loops that runs without the interpreter's lock.

    Division by zero gives inf or NaN, as in numpy.
    """
    import numba

    config: Any = numba.config  # its settings come from the environment, unknown to the type checker
    before = config.CACHE_DIR
    config.CACHE_DIR = _cache_folder()
    try:
        # sums may be reordered; NaN and infinity keep their meaning, kernels test for them
        compiled: Any = numba.njit(
            cache=True, nogil=True, error_model="numpy", fastmath={"contract", "arcp", "reassoc", "nsz"}
        )(function)
    finally:
        config.CACHE_DIR = before
    return cast(F, compiled)
