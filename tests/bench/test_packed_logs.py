"""Gzipped logs read as they are unpacked give what the same logs give unpacked."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from motorfit.bench import bulk, packedlog
from motorfit.bench.logfile import read_table
from motorfit.bench.plaintext import UnreadableLogError
from motorfit.bench.textlog import read_text
from tests.bench.helpers import HEADER, rows

CLEAN = HEADER + "".join(rows(200))
PLAIN = {
    "clean": CLEAN.encode(),
    "byte-order mark": CLEAN.encode("utf-8-sig"),
    "blanks": CLEAN.replace(",", " ").encode(),
    "decimal commas": CLEAN.replace(",", ";").replace(".", ",").encode(),
    "without a last line end": CLEAN.rstrip("\n").encode(),
    "cut": CLEAN[:-3].encode(),
    "windows line ends": CLEAN.replace("\n", "\r\n").encode(),
    "odd lines": CLEAN.replace("\n0.15", "\n# a remark\n\n0.15", 1).replace("9000", "OL", 1).encode(),
    "a long comment": CLEAN.replace("\n0.90", "\n# " + "a" * 3000 + "\n0.90", 1).encode(),
    "words at the end": (CLEAN + "end of log\n").encode(),
    "units in cells": CLEAN.replace(",", " V,").encode(),
    "preamble": ("stand 4\n\n" + CLEAN).encode(),
}
OTHER = {
    "old line ends": CLEAN.replace("\n", "\r").encode(),
    "one old line end": CLEAN.replace("\n1.5", "\r1.5", 1).encode(),
    "two bytes a letter": CLEAN.encode("utf-16"),
    "zeros at the end": CLEAN.encode() + b"\x00" * 40,
    "a frame": "".join(f"|{line.replace(',', '|')}|\n" for line in CLEAN.splitlines()).encode(),
    "no line end": b"1 2 " * 400,
}


@pytest.fixture
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (bulk, packedlog):
        for name, size in (("LARGE", 1000), ("PIECE", 700), ("TAIL", 150)):
            monkeypatch.setattr(module, name, size)
    monkeypatch.setattr(bulk, "_SMALLEST", 120)


@pytest.mark.usefixtures("small_pieces")
@pytest.mark.parametrize("form", [*PLAIN, *OTHER])
def test_packed_as_unpacked(form: str) -> None:
    text = (PLAIN | OTHER)[form]
    half = len(text) // 2
    for packed in (gzip.compress(text), gzip.compress(text[:half]) + gzip.compress(text[half:])):
        assert (packedlog.read_packed_text(packed) is not None) == (form in PLAIN)
        plain, table = read_text(text), read_table(Path("a.csv.gz"), packed)
        np.testing.assert_array_equal(table.numbers, plain.numbers)
        np.testing.assert_array_equal(table.row_numbers, plain.row_numbers)
        assert (table.names, table.units, table.texts) == (plain.names, plain.units, plain.texts)
        assert table.remarks == plain.remarks


@pytest.mark.usefixtures("small_pieces")
def test_a_size_that_lies_only_costs_room() -> None:
    packed = bytearray(gzip.compress(CLEAN.encode()) + gzip.compress(b""))
    assert int.from_bytes(packed[-4:], "little") == 0  # that of the last member
    table = read_table(Path("a.csv.gz"), bytes(packed))
    np.testing.assert_array_equal(table.numbers, read_text(CLEAN.encode()).numbers)


@pytest.mark.usefixtures("small_pieces")
@pytest.mark.parametrize("left", [5, 30, 400, -20])
def test_cut_short(left: int) -> None:
    with pytest.raises(UnreadableLogError, match="damaged or cut short"):
        read_table(Path("a.csv.gz"), gzip.compress(CLEAN.encode())[:left])


@pytest.mark.usefixtures("small_pieces")
@pytest.mark.parametrize("begins", [b"PAR1", b"PK\x03\x04", b"CDF\x01", b"\x89HDF\r\n\x1a\n"])
def test_other_forms_packed_are_told_by_their_content(begins: bytes) -> None:
    with pytest.raises(UnreadableLogError, match="not a whole"):
        read_table(Path("a.gz"), gzip.compress(begins + b"1,2\n" * 400))
