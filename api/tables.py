"""Columns in the forms a caller can ask for: CSV, Parquet, netCDF. Nothing is computed, only written."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorfit.archive import netcdf

from .negotiate import MEDIA


@dataclass(frozen=True)
class Column:
    """One column: values (n,), unit and meaning."""

    name: str
    values: NDArray[Any]
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class Table:
    """Columns of one length along a named dimension, and facts that go with all of them."""

    dim: str
    columns: Sequence[Column]
    facts: Mapping[str, str | int | float] = field(default_factory=dict)


def encode(table: Table, form: str) -> tuple[bytes, str]:
    """Return a table's bytes and their media type; ``form`` is csv, parquet or netcdf."""
    writer = {"csv": _csv, "parquet": _parquet, "netcdf": _netcdf}[form]
    return writer(table), MEDIA[form]


def _csv(table: Table) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow([f"{c.name} [{c.unit}]" if c.unit else c.name for c in table.columns])
    writer.writerows(zip(*(_texts(c.values) for c in table.columns), strict=True))
    return out.getvalue().encode()


def _texts(values: NDArray[Any]) -> list[Any]:
    """Numbers as they are, empty where there is none; a text never starts a spreadsheet's formula."""
    if values.dtype.kind in "OU":
        return [f"'{text}" if text[:1] in "=+-@\t\r" else text for text in map(str, values.tolist())]
    if values.dtype.kind == "f":
        return ["" if value != value else repr(value) for value in values.tolist()]
    listed: list[Any] = values.tolist()
    return listed


def _parquet(table: Table) -> bytes:
    import pyarrow as pa
    from pyarrow import parquet

    fields, arrays = [], []
    for column in table.columns:
        text = column.values.dtype.kind in "OU"
        array = pa.array(column.values.tolist() if text else column.values)
        facts = {"units": column.unit, "long_name": column.meaning}
        fields.append(pa.field(column.name, array.type, metadata=facts))
        arrays.append(array)
    metadata = {name: str(value) for name, value in table.facts.items()}
    out = io.BytesIO()
    parquet.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata=metadata)), out)
    return out.getvalue()


def _netcdf(table: Table) -> bytes:
    index = netcdf.Variable(table.dim, (table.dim,), np.arange(len(table.columns[0].values), dtype=np.int64))
    named = {column.name for column in table.columns}
    variables = tuple(
        netcdf.Variable(
            c.name, (table.dim,), c.values, {"units": c.unit or "1", "long_name": c.meaning or c.name}
        )
        for c in table.columns
    )
    group = netcdf.Group("answer", variables if table.dim in named else (index, *variables))
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "answer.nc"
        netcdf.write_file(path, (group,), dict(table.facts))
        return path.read_bytes()
