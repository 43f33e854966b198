"""Reading logs from Parquet files and spreadsheets."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
    """The columns of a Parquet file, one at a time, so that a large one does not stand twice in memory."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(pa.BufferReader(content))
        schema, rows = file.schema_arrow, file.metadata.num_rows
        if rows == 0 or len(schema) == 0:
            raise UnreadableLogError(
                "empty-file", "the file has no rows", "Record the run again, or name another file."
            )
        numbers = np.full((rows, len(schema)), np.nan, order="F")
        texts: dict[int, dict[int, str]] = {}
        units = [""] * len(schema)
        apart = len(set(schema.names)) == len(schema)
        whole = None if apart else file.read(use_threads=False)
        for i, name in enumerate(schema.names):
            source = (
                file.read(columns=[name], use_threads=False).column(0) if whole is None else whole.column(i)
            )
            numbers[:, i], cells, units[i] = _parquet_column(source)
            if cells:
                texts[i] = cells
    except (pa.ArrowException, OSError):
        raise UnreadableLogError(
            "not-parquet", "the file is not a whole Parquet file", "Write it again."
        ) from None
    return RawTable(tuple(schema.names), tuple(units), numbers, np.arange(1, rows + 1), texts)


def _parquet_column(column: Any) -> tuple[NDArray[np.float64], dict[int, str], str]:
    """A column's numbers (n,), NaN where there is none; its cells of text by row; its unit, if any."""
    import pyarrow as pa

    kind = column.type
    if pa.types.is_timestamp(kind) or pa.types.is_time(kind) or pa.types.is_duration(kind):
        scale = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}[kind.unit]
        ticks = column.cast(pa.int32() if pa.types.is_time32(kind) else pa.int64()).combine_chunks()
        known = np.asarray(ticks.is_valid().to_numpy(zero_copy_only=False), dtype=bool)
        whole = ticks.fill_null(0).to_numpy(zero_copy_only=False).astype(np.int64)
        start = whole[known][0] if known.any() else 0
        # the start is taken off while they are whole numbers, to keep nanoseconds
        return np.where(known, (whole - start) * scale, np.nan), {}, "s"
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return column.cast(pa.float64(), safe=False).to_numpy(), {}, ""
    numbers = np.full(len(column), np.nan)
    texts: dict[int, str] = {}
    for row, value in enumerate(column.to_pylist()):
        text = "" if value is None else str(value).strip()
        number = cell_value(text, comma=False)
        if number is None:
            texts[row] = text
        else:
            numbers[row] = number
    return numbers, texts, ""
