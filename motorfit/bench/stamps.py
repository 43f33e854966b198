"""Times that are written as dates and times of day."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["DAY_S", "form_of_stamps", "nanoseconds_of", "past_midnight", "seconds_of_stamps"]

DAY_S = 86_400.0
_CLOCK = re.compile(
    r"(?P<day>.*?)(?:T|\s|^)(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2}(?:[.,]\d+)?))?"
    r"(?:\s?(?P<half>[AaPp])\.?[Mm]\.?)?(?P<zone>Z|[+-]\d{2}:?\d{2})?"
)
_MINUTES = re.compile(r"(?P<m>\d{1,4}):(?P<s>\d{2}[.,]\d+)")
_FORMS = {
    "plain": re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}:\d{2}(?:\.\d{1,9})?"),
    "zoned": re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}:\d{2}(?:\.\d{1,9})?(?:Z|[+-]\d{2}:?\d{2})"),
    "clock": re.compile(r"\d{2}:\d{2}:\d{2}(?:\.\d{1,9})?"),
}
_EPOCH = dt.datetime(1970, 1, 1)


def form_of_stamps(texts: Sequence[str]) -> str | None:
    """How all texts are written, where it is a usual way: a "plain" or "zoned" date, or the "clock"."""
    return next((n for n, form in _FORMS.items() if texts and all(form.fullmatch(t) for t in texts)), None)


def nanoseconds_of(text: str, form: str) -> int | None:
    """A stamp of a form [ns since 1970, or since midnight for the clock]; None where it is of another."""
    if form == "clock":
        seconds = _clock_s(text)
        return None if seconds is None else round(seconds * 1e9)
    stamp = _iso(text)
    if stamp is None or (stamp.tzinfo is None) != (form == "plain"):
        return None
    bare = stamp.replace(tzinfo=None) - (stamp.utcoffset() or dt.timedelta())
    return (bare - _EPOCH) // dt.timedelta(microseconds=1) * 1000


def past_midnight(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Times of day (n,) [s], NaN where there is none, that go on through midnight."""
    known = np.flatnonzero(np.isfinite(seconds))
    turns = np.diff(seconds[known]) < -DAY_S / 2
    made = seconds.copy()
    made[known[1:]] += DAY_S * np.cumsum(turns)
    return made


def seconds_of_stamps(texts: Mapping[int, str], rows: int) -> NDArray[np.float64] | None:
    """Timestamps [s from the first one], float64 (rows,), NaN where a cell is none; None where few are.

    ISO 8601 dates and times, and plain times of day with any date that stays the same or is ISO.
    """
    seconds = np.full(rows, np.nan)
    first: dt.datetime | None = None
    days = 0.0
    before = None
    for row in sorted(texts):
        text = texts[row]
        stamp = _iso(text)
        if stamp is not None:
            first = first or stamp
            try:
                seconds[row] = (stamp - first) / dt.timedelta(seconds=1)
            except TypeError:  # some with a zone, some without
                continue
            continue
        clock = _clock_s(text)
        if clock is None:
            continue
        if before is not None and clock < before - DAY_S / 2:
            days += DAY_S  # past midnight
        before = clock
        seconds[row] = days + clock
    found = np.isfinite(seconds)
    if found.sum() < 0.5 * rows:
        return None
    return np.asarray(seconds - seconds[found][0])


def _clock_s(text: str) -> float | None:
    """A time of day, or minutes and seconds, in seconds; None where it is neither."""
    short = _MINUTES.fullmatch(text)
    if short is not None:
        return int(short["m"]) * 60.0 + float(short["s"].replace(",", "."))
    match = _CLOCK.fullmatch(text)
    if match is None:
        return None
    hours = int(match["h"])
    if match["half"]:
        hours = hours % 12 + (12 if match["half"] in "Pp" else 0)
    return hours * 3600.0 + int(match["m"]) * 60.0 + float((match["s"] or "0").replace(",", "."))


def _iso(text: str) -> dt.datetime | None:
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        return None
