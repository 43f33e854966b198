from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from motorfit.bench.findings import LogError
from motorfit.units import RPM
from tests.bench.helpers import HEADER, kinds, log_with, rows

NAMES = HEADER.strip().split(",")
NUMBERS = np.array([[float(c) for c in line.split(",")] for line in rows()])


def workbook(lines: list[list[object]], more_sheets: bool = False) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in lines:
        sheet.append(line)
    if more_sheets:
        book.create_sheet("second").append([1, 2])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def parquet(table: pa.Table) -> bytes:
    stream = io.BytesIO()
    pq.write_table(table, stream)
    return stream.getvalue()


@pytest.mark.parametrize("form", ["xlsx", "parquet"])
def test_the_same_log_in_other_forms(tmp_path: Path, form: str) -> None:
    plain = log_with(tmp_path, HEADER + "".join(rows()))
    if form == "xlsx":
        content = workbook([["stand 4"], [], [*NAMES], *NUMBERS.tolist()])
    else:
        content = parquet(pa.table(dict(zip(NAMES, NUMBERS.T, strict=True))))
    log = log_with(tmp_path, content, file=f"a.{form}")
    assert [f for f in log.findings if f.severity != "note"] == []
    assert log.time_s is not None and plain.time_s is not None
    np.testing.assert_allclose(log.time_s, plain.time_s, atol=1e-12)
    assert set(log.channels) == set(plain.channels)
    for name, values in plain.channels.items():
        np.testing.assert_allclose(log.channels[name], values, rtol=1e-12)


def test_spreadsheet_percents_times_and_blanks(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["time", "throttle [%]", "speed [rpm]", "thrust [N]"])
    start = dt.datetime(2030, 3, 1, 12, 0, 0)
    for i in range(4):
        sheet.append(
            [start + dt.timedelta(milliseconds=100 * i), 0.25 * i, 1000 * i, None if i == 2 else 1.5]
        )
        sheet.cell(row=i + 2, column=2).number_format = "0%"
    stream = io.BytesIO()
    book.save(stream)
    log = log_with(tmp_path, stream.getvalue(), file="a.xlsx")
    assert log.time_s is not None
    np.testing.assert_allclose(log.time_s, [0, 0.1, 0.2, 0.3], atol=1e-6)
    np.testing.assert_allclose(log.channels["throttle"], [0, 0.25, 0.5, 0.75])
    assert np.isnan(log.channels["thrust"][2])


def test_a_second_sheet_is_named(tmp_path: Path) -> None:
    log = log_with(tmp_path, workbook([[*NAMES], *NUMBERS.tolist()], more_sheets=True), file="a.xlsx")
    assert kinds(log) == ["more-sheets"] and '"second"' in log.findings[0].message


def test_parquet_timestamps_integers_text_and_nulls(tmp_path: Path) -> None:
    stamps = pa.array([10**18, 10**18 + 2_000_000, 10**18 + 3_000_000], pa.timestamp("ns"))
    table = pa.table(
        {
            "timestamp": stamps,
            "speed [rpm]": pa.array([100, 200, None], pa.int32()),
            "current [A]": ["1.5", "n/a", "OL"],
        }
    )
    log = log_with(tmp_path, parquet(table), file="a.parquet")
    assert log.time_s is not None
    np.testing.assert_allclose(log.time_s, [0, 0.002, 0.003], rtol=1e-12)
    np.testing.assert_allclose(log.channels["speed"], [100 * RPM, 200 * RPM, np.nan])
    np.testing.assert_allclose(log.channels["current"], [1.5, np.nan, np.nan])
    assert kinds(log) == ["missing-cells", "missing-cells", "not-a-number"]


@pytest.mark.parametrize(
    ("file", "content", "words"),
    [
        ("a.xlsx", b"PK\x03\x04 not a workbook", "not a whole XLSX"),
        ("a.parquet", b"PAR1 cut", "not a whole Parquet"),
        ("a.xlsx", workbook([]), "no cells"),
        ("a.parquet", parquet(pa.table({"time [s]": pa.array([], pa.float64())})), "no rows"),
    ],
)
def test_damaged_files(tmp_path: Path, file: str, content: bytes, words: str) -> None:
    with pytest.raises(LogError, match=words):
        log_with(tmp_path, content, file=file)


@pytest.mark.parametrize("form", ["NETCDF4", "NETCDF3_CLASSIC"])
def test_netcdf(tmp_path: Path, form: str) -> None:
    from netCDF4 import Dataset

    with Dataset(tmp_path / "made.nc", "w", format=form) as file:  # type: ignore[arg-type]
        file.createDimension("row", 50)
        file.createDimension("other", 3)
        for name, unit in (("time", "seconds since 2030-03-01"), ("speed", "rpm"), ("current", "mA")):
            variable = file.createVariable(name, "f8", ("row",), fill_value=-9e9)
            variable.units = unit
            variable[:] = np.arange(50) * (0.01 if name == "time" else 100.0)
        file.variables["current"][7] = np.ma.masked
        file.createVariable("notes", "f4", ("other",))
    log = log_with(tmp_path, (tmp_path / "made.nc").read_bytes(), file="a.nc")
    assert log.time_s is not None and log.time_s[-1] == pytest.approx(0.49)
    np.testing.assert_allclose(log.channels["speed"], np.arange(50) * 100 * RPM)
    assert log.channels["current"][2] == pytest.approx(0.2) and np.isnan(log.channels["current"][7])
    assert kinds(log) == ["columns-left-out", "missing-cells"]
    with pytest.raises(LogError, match="not a whole netCDF"):
        log_with(tmp_path, (tmp_path / "made.nc").read_bytes()[:200], file="b.nc")


def test_a_workbook_whose_stated_size_is_wrong_is_read_whole(tmp_path: Path) -> None:
    import re
    import zipfile

    lines: list[list[object]] = [[*NAMES], *(list(row) for row in NUMBERS.tolist())]
    source = zipfile.ZipFile(io.BytesIO(workbook(lines)))
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as made:
        for name in source.namelist():
            part = source.read(name)
            if name.endswith("sheet1.xml"):
                assert b'<dimension ref="A1:G31"' in part
                part = re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B4"', part)
            made.writestr(name, part)
    log = log_with(tmp_path, stream.getvalue(), file="a.xlsx")
    assert log.time_s is not None and len(log.time_s) == 30 and "torque" in log.channels


def _as_text(value: object) -> object:
    return f"{value:.5f}".replace(".", ",") if isinstance(value, float) else value


def test_numbers_that_cells_hold_as_text(tmp_path: Path) -> None:
    plain = log_with(tmp_path, HEADER + "".join(rows()))
    lines = [[NUMBERS[i, 0], *map(_as_text, NUMBERS[i, 1:].tolist())] for i in range(30)]
    log = log_with(tmp_path, workbook([[*NAMES], *lines]), file="a.xlsx")
    assert kinds(log) == ["numbers-as-text"] and "decimal commas" in log.findings[0].message
    assert log.findings[0].rows is not None and log.findings[0].rows[:2] == (2, 3)
    for name, values in plain.channels.items():
        np.testing.assert_allclose(log.channels[name], values, rtol=1e-4)
    lines[7][3] = "1.025"
    with pytest.raises(LogError, match=r"row 9: text with a decimal point .* decimal commas"):
        log_with(tmp_path, workbook([[*NAMES], *lines]), file="a.xlsx")


def test_remarks_beside_a_sheets_table(tmp_path: Path) -> None:
    lines: list[list[object]] = [[*NAMES], *(list(row) for row in NUMBERS.tolist())]
    more: list[list[object]] = [[i * 0.01, 50, 23.0, 5.0, 9000, 3.0, 0.1] for i in range(30, 600)]
    more[500].append("propeller touched")
    log = log_with(tmp_path, workbook([*lines, *more, [], ["", None]]), file="a.xlsx")
    assert log.time_s is not None and len(log.time_s) == 600
    assert kinds(log) == ["cells-beside"] and log.findings[0].rows == (532,)


def test_parquet_whose_text_is_no_text(tmp_path: Path) -> None:
    words = pa.Array.from_buffers(
        pa.string(), 2, [None, pa.py_buffer(np.array([0, 1, 2], np.int32).tobytes()), pa.py_buffer(b"\xac1")]
    )
    table = pa.table({"time [s]": pa.array([0.0, 1.0]), "speed [rpm]": words})
    with pytest.raises(LogError, match="not a whole Parquet"):
        log_with(tmp_path, parquet(table), file="a.parquet")


def test_parquet_in_row_groups_with_stamps_across_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from motorfit.bench import parquetlog

    monkeypatch.setattr(parquetlog, "_ROWS", 7)
    count = 40
    stamps: list[int | None] = [None, None, *(10**18 + 3_000_000 * i for i in range(count - 2))]
    table = pa.table(
        {
            "timestamp": pa.array(stamps, pa.timestamp("ns")),
            "speed [rpm]": pa.array(range(count), pa.int16()),
            "current [A]": [f"{i}.5" if i != 33 else "OL" for i in range(count)],
        }
    )
    stream = io.BytesIO()
    pq.write_table(table, stream, row_group_size=9)
    log = log_with(tmp_path, stream.getvalue(), file="a.parquet")
    assert log.time_s is not None
    np.testing.assert_allclose(log.time_s, 0.003 * np.arange(count - 2), atol=1e-12)
    np.testing.assert_allclose(log.channels["speed"], np.arange(2, count) * RPM)
    assert np.flatnonzero(np.isnan(log.channels["current"])).tolist() == [31]
    (text,) = [f for f in log.findings if f.kind == "not-a-number"]
    assert text.rows == (34,)
