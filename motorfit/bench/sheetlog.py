"""Reading logs from Parquet files and spreadsheets."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import numpy as np

from motorfit.bench.rawtable import RawTable, Remark, cell_value
from motorfit.bench.textlog import UnreadableLogError, read_text


def read_spreadsheet(content: bytes) -> RawTable:
    """The first sheet with cells of an XLSX file; its rows go the way of text rows, with the same checks."""
    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (
        Exception
    ):  # a zip of something else, a cut file, a workbook of another make: all the same to the user
        raise UnreadableLogError(
            "not-a-spreadsheet",
            "the file is not a whole XLSX workbook",
            "Open and save it again as .xlsx or .csv.",
        ) from None
    filled: list[tuple[str, list[str]]] = []
    for sheet in book.worksheets:
        lines = ["\t".join(_cell_text(cell) for cell in row).rstrip("\t") for row in sheet.iter_rows()]
        if any(line.strip() for line in lines):
            filled.append((sheet.title, lines))
    book.close()
    if not filled:
        raise UnreadableLogError(
            "empty-file", "the workbook has no cells", "Record the run again, or name another file."
        )
    title, lines = filled[0]
    width = max(line.count("\t") for line in lines)
    padded = [line + "\t" * (width - line.count("\t")) if line else line for line in lines]
    table = read_text("".join(line + "\n" for line in padded).encode(), forced="\t")
    if len(filled) > 1:
        others = ", ".join(f'"{name}"' for name, _ in filled[1:])
        table.remarks.append(
            Remark(
                "warning",
                "more-sheets",
                f'sheet "{title}" is read; left out: {others}',
                "Put each run in a file of its own.",
            )
        )
    return table


def _cell_text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, (dt.datetime, dt.time)):
        return value.isoformat()
    if isinstance(value, float) and "%" in str(getattr(cell, "number_format", "")):
        return repr(round(value * 100.0, 12))  # shown as 50 %, stored as 0.5
    return " ".join(str(value).split())


def read_parquet(content: bytes) -> RawTable:
    """The columns of a Parquet file."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        source = parquet.read_table(io.BytesIO(content), use_threads=False)
    except (pa.ArrowException, OSError):
        raise UnreadableLogError(
            "not-parquet", "the file is not a whole Parquet file", "Write it again."
        ) from None
    rows = source.num_rows
    if rows == 0 or source.num_columns == 0:
        raise UnreadableLogError(
            "empty-file", "the file has no rows", "Record the run again, or name another file."
        )
    numbers = np.full((rows, source.num_columns), np.nan)
    texts: dict[int, dict[int, str]] = {}
    units = [""] * source.num_columns
    for i, field in enumerate(source.schema):
        column = source.column(i)
        if (
            pa.types.is_timestamp(field.type)
            or pa.types.is_time(field.type)
            or pa.types.is_duration(field.type)
        ):
            scale = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}[field.type.unit]
            ticks = np.array(
                [
                    np.nan if t is None else t
                    for t in column.cast(
                        pa.int32() if pa.types.is_time32(field.type) else pa.int64()
                    ).to_pylist()
                ],
                dtype=object,
            )
            known = np.array([t == t for t in ticks], dtype=bool)
            start = (
                ticks[known][0] if known.any() else 0
            )  # taken off while whole numbers, to keep nanoseconds
            numbers[known, i] = np.array([t - start for t in ticks[known]], dtype=float) * scale
            units[i] = "s"
        elif (
            pa.types.is_integer(field.type)
            or pa.types.is_floating(field.type)
            or pa.types.is_decimal(field.type)
        ):
            numbers[:, i] = column.cast(pa.float64(), safe=False).to_numpy()
        else:
            for row, value in enumerate(column.to_pylist()):
                text = "" if value is None else str(value).strip()
                number = cell_value(text, comma=False)
                if number is None:
                    texts.setdefault(i, {})[row] = text
                else:
                    numbers[row, i] = number
    return RawTable(tuple(source.column_names), tuple(units), numbers, np.arange(1, rows + 1), texts)
