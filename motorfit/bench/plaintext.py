"""A text log's bytes as plain lines: UTF-8, one kind of line end, no byte-order mark, no frame of pipes."""

from __future__ import annotations

import numpy as np

from motorfit.bench.rawtable import Remark

__all__ = [
    "HEAD_LINES",
    "UnreadableLogError",
    "first_lines",
    "is_plain",
    "plain_text",
    "text_of",
    "without_frame",
]

HEAD_LINES = 400
"""By which a log's way of writing is told."""


class UnreadableLogError(Exception):
    """A file that holds no log; the remark says why and what to do."""

    def __init__(self, kind: str, message: str, remedy: str) -> None:
        super().__init__(message)
        self.remark = Remark("error", kind, message, remedy)


def first_lines(content: bytes) -> list[bytes]:
    """The first few hundred lines, without cutting up the rest."""
    end = 0
    for _ in range(HEAD_LINES):
        end = content.find(b"\n", end) + 1
        if end == 0:
            return content.split(b"\n")
    return content[: end - 1].split(b"\n")


def text_of(line: bytes) -> str:
    """A line as text, whatever its encoding."""
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("latin-1")  # older loggers write a degree or micro sign in one byte


def is_plain(content: bytes) -> bool:
    """Whether text is in one byte a letter or UTF-8, without zeros."""
    return b"\x00" not in content and _wide_encoding(content) is None


def plain_text(content: bytes) -> tuple[bytes, list[Remark]]:
    """UTF-8 without a byte-order mark, with plain line ends and without zeros at the end."""
    remarks: list[Remark] = []
    wide = _wide_encoding(content)
    if wide is not None:
        content = content.decode(wide, errors="replace").encode()
    content = content.removeprefix(b"\xef\xbb\xbf")
    if content.endswith(b"\x00"):
        kept = content.rstrip(b"\x00")
        remarks.append(
            Remark(
                "warning",
                "zero-bytes",
                f"the file ends in {len(content) - len(kept)} zero bytes, left out",
                "The logger was cut off; check that the run is whole.",
            )
        )
        content = kept
    if b"\x00" in content[:100_000]:
        raise UnreadableLogError(
            "not-text", "the file is not text", "Give CSV or other text, Parquet or XLSX with its suffix."
        )
    if b"\r" in content:
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return content, remarks


def _wide_encoding(content: bytes) -> str | None:
    """The encoding of text in two or four bytes a letter, by its mark or by where its zeros stand."""
    if content[:4] in (b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff"):
        return "utf-32"
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    head = np.frombuffer(content[:400], dtype=np.uint8)
    if len(head) < 40 or len(head) % 4:
        return None
    zeros = np.mean(head.reshape(-1, 4) == 0, axis=0) > 0.9
    patterns = {"utf-16-le": (0, 1, 0, 1), "utf-16-be": (1, 0, 1, 0)}
    patterns |= {"utf-32-le": (0, 1, 1, 1), "utf-32-be": (1, 1, 1, 0)}
    return next((name for name, where in patterns.items() if tuple(zeros.astype(int)) == where), None)


def without_frame(content: bytes) -> bytes:
    """A table drawn with pipes, as CSV between pipes: no pipes at the ends of lines, rules as comments."""
    head = [line.strip() for line in first_lines(content) if line.strip()]
    framed = sum(line.startswith(b"|") and line.endswith(b"|") and line.count(b"|") > 2 for line in head)
    if framed < 2 or framed < 0.8 * sum(not line.startswith((b"#", b"+")) for line in head):
        return content
    lines = []
    for line in content.split(b"\n"):
        bare = line.strip()
        if bare and not bare.strip(b"|+-=: "):
            lines.append(b"#")
        else:
            lines.append(bare[1:-1] if bare.startswith(b"|") and bare.endswith(b"|") else line)
    return b"\n".join(lines)
