"""One log's bytes to its cells, by content and suffix."""

from __future__ import annotations

from pathlib import Path

from motorfit.bench.rawtable import RawTable
from motorfit.bench.textlog import read_text

_NETCDF = (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF\r\n\x1a\n")
_GZIP = b"\x1f\x8b"


def read_table(file: Path, content: bytes) -> RawTable:
    """The cells of a log, by its content and suffix; raises `UnreadableLogError`."""
    suffixes = [s.lower() for s in file.suffixes]
    forced = "\t" if ".tsv" in suffixes else None
    if content.startswith(_GZIP):
        from motorfit.bench.packedlog import first_unpacked, read_packed_text, unpacked

        if _form(first_unpacked(content), suffixes) == "text":
            table = read_packed_text(content, forced)
            if table is not None:
                return table
        content = unpacked(content)
    form = _form(content, suffixes)
    if form == "parquet":
        from motorfit.bench.parquetlog import read_parquet

        return read_parquet(content)
    if form == "spreadsheet":
        from motorfit.bench.sheetlog import read_spreadsheet

        return read_spreadsheet(content)
    if form == "netcdf":
        from motorfit.bench.netcdflog import read_netcdf

        return read_netcdf(content)
    return read_text(content, forced)


def _form(content: bytes, suffixes: list[str]) -> str:
    if content.startswith(b"PAR1") or ".parquet" in suffixes:
        return "parquet"
    if content.startswith(b"PK\x03\x04") or ".xlsx" in suffixes:
        return "spreadsheet"
    if content.startswith(_NETCDF) or suffixes[-1:] == [".nc"]:
        return "netcdf"
    return "text"
