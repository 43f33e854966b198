"""Reading gzipped logs: long text as it is unpacked, so that it never stands whole in memory."""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Iterator

from motorfit.bench.bulk import LARGE, PIECE, TAIL, Piece
from motorfit.bench.plaintext import UnreadableLogError, is_plain, without_frame
from motorfit.bench.rawtable import RawTable
from motorfit.bench.textlog import after_lines, dialect_of, read_pieces

__all__ = ["first_unpacked", "read_packed_text", "unpacked"]

_MARK = b"\xef\xbb\xbf"
_SPARE = 1.1
"""Room for rows, beyond what the first lines and the size lead one to expect."""

_DENSEST = 30
"""How many times smaller a log gets at most, for that expectation: what the last bytes say may be wrong."""


class _NotPlainError(Exception):
    """Text that asks for a look at the whole of it."""


def first_unpacked(content: bytes) -> bytes:
    """The first few bytes of what a gzip file holds; raises `UnreadableLogError` where it is damaged."""
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as file:
            return file.read(16)
    except (OSError, EOFError, zlib.error):
        raise _damaged() from None


def unpacked(content: bytes) -> bytes:
    """All of a gzip file; raises `UnreadableLogError` where it is damaged."""
    try:
        return gzip.decompress(content)
    except (OSError, EOFError, zlib.error):
        raise _damaged() from None


def read_packed_text(content: bytes, forced: str | None = None) -> RawTable | None:
    """The cells of a long text log in a gzip file; None where it is short, or anything but plain text."""
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as file:
            head = file.read(LARGE)
            if len(head) < LARGE or b"\n" not in head:
                return None
            cut = head.rfind(b"\n") + 1
            first, rest = _plain(head[:cut].removeprefix(_MARK)), head[cut:]
            if without_frame(first) is not first:
                return None
            dialect = dialect_of(first, forced)
            start = after_lines(first, dialect.first)
            size = int.from_bytes(content[-4:], "little")  # of the text, as the file's last bytes say
            lines = int(_SPARE * first.count(b"\n") * max(min(size, _DENSEST * len(content)) / cut, 1.0))
            table = read_pieces(_pieces(file, first, start, rest), lines, dialect)
    except _NotPlainError:
        return None
    except (OSError, EOFError, zlib.error):
        raise _damaged() from None
    table.remarks[:0] = dialect.remarks
    return table


def _damaged() -> UnreadableLogError:
    return UnreadableLogError("cut-gzip", "the gzip file is damaged or cut short", "Compress the log again.")


def _plain(lines: bytes) -> bytes:
    """Whole lines with plain line ends; raises `_NotPlainError` for other text."""
    if b"\r" in lines:
        lines = lines.replace(b"\r\n", b"\n")
    if b"\r" in lines or not is_plain(lines):
        raise _NotPlainError
    return lines


def _pieces(file: gzip.GzipFile, held: bytes, start: int, rest: bytes) -> Iterator[Piece]:
    """Lines `held` from `start` on, then `rest` and what is left of the file, in pieces of whole lines.

    The last is short, and given a line end where it lacks one.
    """
    while more := file.read(PIECE):
        cut = more.rfind(b"\n") + 1
        if cut == 0:
            rest += more
            continue
        yield Piece(held, start, len(held))
        held, rest, start = _plain(rest + more[:cut]), more[cut:], 0
    tail = max(held.rfind(b"\n", start, max(len(held) - TAIL, start)) + 1, start)
    if tail > start:
        yield Piece(held, start, tail)
    last = held[tail:] + _plain(rest)
    cut_short = not last.endswith(b"\n")
    last = last + b"\n" if cut_short else last
    yield Piece(last, 0, len(last), True, cut_short)
