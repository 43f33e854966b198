"""One log's bytes to its cells, by content and suffix."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from motorfit.bench.rawtable import RawTable
from motorfit.bench.textlog import UnreadableLogError, read_text

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
    return read_text(content, "\t" if ".tsv" in suffixes else None)
