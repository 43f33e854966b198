"""Reading logs from Parquet files, a column and a few ten thousand rows at a time."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.bench.arrowcells import floats_of, integers_of, known_of
from motorfit.bench.rawtable import RawTable, cell_value
from motorfit.bench.textlog import UnreadableLogError

_ROWS = 1 << 16
"""Rows of a column that stand beside the table at a time."""


def read_parquet(content: bytes) -> RawTable:
    """The columns of a Parquet file; raises `UnreadableLogError` where it is damaged or has no rows."""
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
        whole = None if apart else file.read(use_threads=False)  # columns of one name are asked for together
        for i, field in enumerate(schema):
            chunks: Iterable[Any] = (
                (b.column(0) for b in file.iter_batches(_ROWS, columns=[field.name], use_threads=False))
                if whole is None
                else whole.column(i).chunks
            )
            cells, units[i] = _column(field.type, chunks, numbers[:, i])
            if cells:
                texts[i] = cells
    except (pa.ArrowException, OSError, ValueError, OverflowError):  # of damaged cells too
        raise UnreadableLogError(
            "not-parquet", "the file is not a whole Parquet file", "Write it again."
        ) from None
    return RawTable(tuple(schema.names), tuple(units), numbers, np.arange(1, rows + 1), texts)


def _column(kind: Any, chunks: Iterable[Any], into: NDArray[np.float64]) -> tuple[dict[int, str], str]:
    """Put a column's numbers `into` (n,), NaN where there is none; its cells of text by row, and its unit."""
    import pyarrow as pa

    stamped = pa.types.is_timestamp(kind) or pa.types.is_time(kind) or pa.types.is_duration(kind)
    numeric = pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)
    texts: dict[int, str] = {}
    start: int | None = None
    at = 0
    for chunk in chunks:
        part = into[at : at + len(chunk)]
        if stamped:
            start = _ticks(chunk, start, part)
        elif numeric:
            part[:] = floats_of(chunk if chunk.type == pa.float64() else chunk.cast(pa.float64(), safe=False))
        else:
            texts.update(_cells(chunk, at, part))
        at += len(chunk)
    if stamped:
        into *= {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}[kind.unit]
    return texts, "s" if stamped else ""


def _ticks(chunk: Any, start: int | None, into: NDArray[np.float64]) -> int | None:
    """Ticks since `start`, the column's first one, put `into` (n,); that first one."""
    import pyarrow as pa

    wide = chunk.cast(pa.int32()) if pa.types.is_time32(chunk.type) else chunk
    known, whole = known_of(chunk), integers_of(wide.cast(pa.int64()))
    if start is None and known.any():
        start = int(whole[known][0])
    # the start is taken off while they are whole numbers, to keep nanoseconds
    into[known] = whole[known] - (start or 0)
    return start


def _cells(chunk: Any, first_row: int, into: NDArray[np.float64]) -> dict[int, str]:
    """Cells of text as numbers `into` (n,) where they are; the others by row of the file."""
    texts: dict[int, str] = {}
    for k, value in enumerate(chunk.to_pylist()):
        text = "" if value is None else str(value).strip()
        number = cell_value(text, comma=False)
        if number is None:
            texts[first_row + k] = text
        else:
            into[k] = number
    return texts
