"""One log in many forms of writing: each is read as the plain one, or refused in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from motorfit.bench.findings import LogError
from tests.bench.helpers import HEADER, kinds, log_with, rows

NAMES = HEADER.strip().split(",")
CELLS = [line.strip().split(",") for line in rows(60)]
WORDS = [name.split(" [")[0] for name in NAMES]
UNITS = [name.split("[")[1].rstrip("]") for name in NAMES]


def table(cells: list[list[str]] = CELLS, names: list[str] = NAMES, between: str = ",") -> str:
    return "".join(between.join(row) + "\n" for row in [names, *cells])


def with_time(write: Callable[[float], str], name: str) -> str:
    return table([[write(float(row[0])), *row[1:]] for row in CELLS], [name, *NAMES[1:]])


def with_speed(write: Callable[[str], str], between: str = ",") -> str:
    return table([[*row[:4], write(row[4]), *row[5:]] for row in CELLS], between=between)


def grouped(sign: str) -> Callable[[str], str]:
    return lambda number: f"{int(number):,}".replace(",", sign)


def at(seconds: float) -> dt.datetime:
    return dt.datetime(2026, 3, 4, 9, 59, 59, 500_000) + dt.timedelta(seconds=seconds)


LATER = 1_772_618_395
COMMAS = [[cell.replace(".", ",") for cell in row] for row in CELLS]
FORMS: dict[str, tuple[str | bytes, tuple[str, ...]]] = {
    "commas in quotes": (table([[f'"{c}"' for c in row] for row in COMMAS]), ()),
    "two bytes a letter": (table().encode("utf-16-le"), ()),
    "two bytes, the other way": (table().encode("utf-16-be"), ()),
    "four bytes a letter": (table().encode("utf-32"), ()),
    "thousands in quotes": (with_speed(lambda n: f'"{grouped(",")(n)}"'), ("thousands-sign",)),
    "thousands by comma": (
        # the first column of whole numbers shows that the comma is none of decimals
        table(
            [[*r[:4], str(i) if i < 2 else grouped(",")(r[4]), *r[5:]] for i, r in enumerate(CELLS)],
            between=";",
        ),
        ("thousands-sign",),
    ),
    "thousands by apostrophe": (with_speed(grouped("'"), ";"), ("thousands-sign",)),
    "thousands by thin blank": (with_speed(grouped("\u202f"), ";"), ("thousands-sign",)),
    "units below": (table([UNITS, *CELLS], WORDS), ()),
    "units above": (",".join(UNITS) + "\n" + table(names=WORDS), ()),
    "units, then a remark": (table([UNITS, ["raw"] * 7, *CELLS], WORDS), ("preamble",)),
    "unit in each cell": (
        table([[f"{c} {u}" for c, u in zip(row, UNITS, strict=True)] for row in CELLS], WORDS),
        ("unit-in-cells",),
    ),
    "per cent signs": (table([[row[0], row[1] + "%", *row[2:]] for row in CELLS]), ("unit-in-cells",)),
    "drawn with pipes": (
        "".join("| " + " | ".join(r) + " |\n" for r in [NAMES, ["---"] * 7, *CELLS]), ("preamble",),
    ),
    "pipes between": (table(between="|"), ()),
    "half days": (with_time(lambda t: at(t).strftime("%m/%d/%Y %I:%M:%S.%f %p"), "time"), ()),
    "minutes and seconds": (with_time(lambda t: f"{int(t // 60)}:{t % 60:06.3f}", "time"), ()),
    "days of a spreadsheet": (with_time(lambda t: f"{46085.4 + t / 86400:.11f}", "time"), ("assumed-unit",)),
    "ms since 1970": (with_time(lambda t: f"{1000 * (LATER + t):.0f}", "timestamp"), ("assumed-unit",)),
    "us since 1970": (with_time(lambda t: f"{1e6 * (LATER + t):.0f}", "timestamp"), ("assumed-unit",)),
}  # fmt: skip


@pytest.mark.parametrize("name", FORMS)
def test_a_form_is_read_as_the_plain_log(tmp_path: Path, name: str) -> None:
    content, found = FORMS[name]
    plain = log_with(tmp_path, table())
    log = log_with(tmp_path, content, file="b.csv")
    assert kinds(log) == sorted(found)
    assert log.time_s is not None and plain.time_s is not None
    np.testing.assert_allclose(log.time_s, plain.time_s, atol=1e-5)
    start = 2 if name == "thousands by comma" else 0
    for channel, values in plain.channels.items():
        np.testing.assert_allclose(log.channels[channel][start:], values[start:], rtol=1e-12, err_msg=channel)


def test_a_comma_that_may_be_a_decimal_sign_is_not_guessed(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="a decimal point in a file of decimal commas"):
        log_with(tmp_path, with_speed(grouped(","), ";"))


def test_a_number_with_letters_among_plain_ones_is_missing(tmp_path: Path) -> None:
    cells = [list(row) for row in CELLS]
    cells[20][3] = "2.9x"
    log = log_with(tmp_path, table(cells))
    assert kinds(log) == ["not-a-number"] and np.isnan(log.channels["current"][20])


def test_a_unit_that_contradicts_the_header_is_not_taken(tmp_path: Path) -> None:
    with_unit = [[*row[:5], row[5] + " gf", row[6]] for row in CELLS]
    log = log_with(tmp_path, table(with_unit))
    assert "thrust" not in log.channels and "not-a-number" in kinds(log)


def test_words_for_times_are_named(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="holds 'early', 'early': no time that is understood"):
        log_with(tmp_path, with_time(lambda t: "early", "time"))


def test_rows_of_whole_seconds_are_spread(tmp_path: Path) -> None:
    cells = [[f"{int(k * 0.01 + 0.3)}", *CELLS[k % 60][1:]] for k in range(450)]
    log = log_with(tmp_path, table(cells))
    assert "coarse-stamps" in kinds(log)
    assert log.time_s is not None
    np.testing.assert_allclose(np.diff(log.time_s), 0.01, atol=1e-9)


def test_channels_written_in_turn_share_an_instant(tmp_path: Path) -> None:
    cells = [["" if j and j % 3 != k % 3 else c for j, c in enumerate(CELLS[k // 3])] for k in range(180)]
    log = log_with(tmp_path, table(cells))
    assert log.time_s is not None and len(log.time_s) == 60
    assert "coarse-stamps" not in kinds(log)
    np.testing.assert_allclose(log.channels["thrust"], [float(r[5]) for r in CELLS])
