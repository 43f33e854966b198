"""A channel's numbers, each believable or missing: fault codes, absurd sizes, throttle beyond its range."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.codes import fault_codes
from motorfit.bench.rawtable import Remark, remark_rows
from motorfit.bench.throttlescale import candidates_text
from motorfit.units import EXAMPLES

__all__ = ["believable", "throttle_within", "without_codes"]

Array = NDArray[np.float64]
Rows = NDArray[np.int64]

_LARGEST = 1e9
"""A reading beyond this, in any channel's own unit, is no reading."""

_ROUNDING = 1e-9


def without_codes(raw: Array, rows: Rows) -> tuple[Array, list[Remark]]:
    """The numbers as logged (n,), NaN where they are a fault code; remarks name the lines, `rows` (n,)."""
    coded, codes = fault_codes(raw)
    if not codes:
        return raw, []
    words = " and ".join(f"{code:.0f}" for code in codes)
    remark = remark_rows(
        "warning",
        "fault-code",
        f"{words}, far from all other values: a code for a fault, not a reading; taken as missing",
        "Nothing to do if the sensor is known to write it; otherwise look at the sensor.",
        rows[coded],
    )
    return np.where(coded, np.nan, raw), [remark]


def believable(values: Array, rows: Rows) -> tuple[Array, list[Remark]]:
    """The channel (n,) in its own unit, NaN for what no sensor can mean."""
    with np.errstate(over="ignore", invalid="ignore"):
        whole = values.size > 0 and bool(np.isfinite(values.sum()))
    if whole and max(values.max(), -values.min()) <= _LARGEST:
        return values, []
    absurd = np.abs(values) > _LARGEST
    remarks = []
    if absurd.any():
        remarks.append(
            remark_rows(
                "warning",
                "absurd-value",
                f"a number beyond {_LARGEST:g} (SI); taken as missing",
                "Look at these rows in the log: digits or a decimal sign may be lost.",
                rows[absurd],
            )
        )
    return np.asarray(np.where(np.isfinite(values) & ~absurd, values, np.nan)), remarks


def throttle_within(values: Array, raw: Array, rows: Rows) -> tuple[Array, list[Remark]]:
    """Throttle (n,) within 0 to 1: a little beyond is a pulse past its nominal range, a lot a wrong unit.

    `raw` (n,) are the numbers as logged: a pulse of no length, where others have one, is none.
    """
    known = values[np.isfinite(values)]
    if not known.size:
        return values, []
    remarks = []
    off = (raw == 0) & (values < -0.3)
    if off.any() and not off.all():
        values = np.where(off, 0.0, values)
        known = values[np.isfinite(values)]
        remarks.append(
            remark_rows(
                "note",
                "no-pulse",
                "a pulse of 0 is none: the controller is off; taken as no throttle",
                "Nothing to do.",
                rows[off],
            )
        )
    if known.max() > 1.25 or known.min() < -0.3:
        candidates = candidates_text(raw)
        fits = f"; by its range: {candidates}" if candidates else ""
        return values, [
            Remark(
                "error",
                "wrong-unit",
                f"throttle goes from {known.min():.4g} to {known.max():.4g} where 0 to 1 is full range",
                f"State its unit in [runs.columns] throttle; allowed: {EXAMPLES['throttle']}{fits}.",
            )
        ]
    beyond = (values < -_ROUNDING) | (values > 1 + _ROUNDING)
    if beyond.any():
        remarks.append(
            remark_rows(
                "note",
                "throttle-beyond",
                "throttle below 0 or above 1; taken as 0 or 1",
                "Nothing to do if the controller does the same.",
                rows[beyond],
            )
        )
    return np.clip(values, 0.0, 1.0), remarks
