"""One log's bytes to its cells, by content and suffix."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from motorfit.bench.rawtable import RawTable
from motorfit.bench.textlog import UnreadableLogError, read_text

_NETCDF = (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF\r\n\x1a\n")
_GZIP = b"\x1f\x8b"


def read_table(file: Path, content: bytes) -> RawTable:
    """The cells of a log, by its content and suffix; raises `UnreadableLogError`."""
    suffixes = [s.lower() for s in file.suffixes]
    if content.startswith(_GZIP):
        try:
            content = gzip.decompress(content)
        except (OSError, EOFError, zlib.error):
            raise UnreadableLogError(
                "cut-gzip", "the gzip file is damaged or cut short", "Compress the log again."
            ) from None
    if content.startswith(b"PAR1") or ".parquet" in suffixes:
        from motorfit.bench.sheetlog import read_parquet

        return read_parquet(content)
    if content.startswith(b"PK\x03\x04") or ".xlsx" in suffixes:
        from motorfit.bench.sheetlog import read_spreadsheet

        return read_spreadsheet(content)
    if content.startswith(_NETCDF) or suffixes[-1:] == [".nc"]:
        from motorfit.bench.netcdflog import read_netcdf

        return read_netcdf(content)
    return read_text(content, "\t" if ".tsv" in suffixes else None)
