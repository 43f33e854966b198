"""Good logs and campaign files, damaged: by bytes, by cells, by lines, by keys."""

from __future__ import annotations

import contextlib
import gzip
import io
import random
from collections.abc import Callable

Rng = random.Random

_CELLS = (
    "", "nan", "inf", "-inf", "1e999", "-1e308", "1e-320", "255", "65535", "-999", "0", "-0", "1,5",
    "1.234.567", "--", "OL", "#N/A", "0x1F", "\uff11", "1e", "+", ".", "12:30:01.5", "2030-03-01T12:00:00Z",
    "true", '"', '"a,b"', "1'025", '"1,025"', "12.5 V", "25.4%", "1 025", "1.025,5",
    "03/04/2026 09:59 PM", "1:02.5",
    "\x00", "é", "9" * 400, "rpm", "=1+1",
)  # fmt: skip
_LINES = (
    "", "# remark", "%", ";", ",,,,,,", "time,throttle", "\t\t\t", "text in the middle", '"', "\ufeff", "1",
    "nan",
    "0,0,0,0,0,0,0", "1e5,1,1,1,1,1,1", "-1,1,1,1,1,1,1", "[end]", "a" * 5000,
)  # fmt: skip
_VALUES = (
    "nan", "inf", "-1", "0", "1e400", "true", '""', '"x"', "[]", "{}", "1979-05-27", '"../../etc"', '"logs"',
    "99999999999999999999", "[[1]]", "{ column = 0 }", '{ column = "x", equals = 1 }', '"\\u0000"',
    "07:32:00",
)  # fmt: skip
_KEYS = (
    "part",
    "from_s",
    "to_s",
    "where",
    "kind",
    "file",
    "columns",
    "speed_of",
    "air",
    "id",
    "motor",
    "colour",
)


def mutate_log(rng: Rng, content: bytes) -> bytes:
    """A log with one to three faults."""
    for _ in range(rng.randint(1, 3)):
        content = rng.choice(_LOG)(rng, content)
    return content


def _lines(rng: Rng, content: bytes, edit: Callable[[Rng, list[bytes]], list[bytes]]) -> bytes:
    return b"\n".join(edit(rng, content.split(b"\n")))


def _at(rng: Rng, lines: list[bytes]) -> int:
    return rng.randrange(max(len(lines), 1)) if rng.random() < 0.8 else 0


def _bytes(rng: Rng, content: bytes) -> bytes:
    data = bytearray(content)
    for _ in range(rng.randint(1, 6)):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def _cut(rng: Rng, content: bytes) -> bytes:
    a, b = sorted((rng.randint(0, len(content)), rng.randint(0, len(content))))
    return content[:a] + (content[b:] if rng.random() < 0.5 else b"")


def _cell(rng: Rng, content: bytes) -> bytes:
    def edit(rng: Rng, lines: list[bytes]) -> list[bytes]:
        for _ in range(rng.choice((1, 1, 3, 40))):
            i = _at(rng, lines)
            cells = lines[i].split(b",")
            cells[rng.randrange(len(cells))] = rng.choice(_CELLS).encode()
            lines[i] = b",".join(cells)
        return lines

    return _lines(rng, content, edit)


def _column(rng: Rng, content: bytes) -> bytes:
    cell = rng.choice(_CELLS).encode()
    place = rng.randrange(8)

    def edit(rng: Rng, lines: list[bytes]) -> list[bytes]:
        out = []
        for line in lines:
            cells = line.split(b",")
            if place < len(cells) and rng.random() < 0.98:
                cells[place] = cell
            out.append(b",".join(cells))
        return out

    return _lines(rng, content, edit)


def _line(rng: Rng, content: bytes) -> bytes:
    def edit(rng: Rng, lines: list[bytes]) -> list[bytes]:
        for _ in range(rng.choice((1, 1, 2, 30))):
            lines.insert(_at(rng, lines), rng.choice(_LINES).encode())
        return lines

    return _lines(rng, content, edit)


def _shuffle(rng: Rng, content: bytes) -> bytes:
    def edit(rng: Rng, lines: list[bytes]) -> list[bytes]:
        i, j = _at(rng, lines), _at(rng, lines)
        lines[i], lines[j] = lines[j], lines[i]
        return lines

    return _lines(rng, content, edit)


def _repeat(rng: Rng, content: bytes) -> bytes:
    def edit(rng: Rng, lines: list[bytes]) -> list[bytes]:
        a, b = sorted((_at(rng, lines), _at(rng, lines)))
        return lines[:b] + lines[a:]

    return _lines(rng, content, edit)


def _header(rng: Rng, content: bytes) -> bytes:
    first, _, rest = content.partition(b"\n")
    names = first.split(b",")
    rng.shuffle(names)
    choices = (
        b",".join(names),
        b"",
        b",".join(names[:-1]),
        first.upper(),
        first.replace(b"[", b"("),
        first * 2,
    )
    return rng.choice(choices) + b"\n" + rest


def _coded(rng: Rng, content: bytes) -> bytes:
    text = content.decode("utf-8", errors="replace")
    return rng.choice(
        (
            text.encode("utf-16"),
            text.encode("utf-16-le"),
            text.encode("utf-32"),
            b"".join(b"|" + line.replace(b",", b"|") + b"|\n" for line in content.split(b"\n")),
            content.replace(b",", b" V,"),
            b"\xef\xbb\xbf" + content,
            content.replace(b"\n", b"\r\n"),
            content.replace(b"\n", b"\r"),
            content.replace(b",", b";").replace(b".", b","),
            content.replace(b",", b"\t"),
            content.replace(b",", b" "),
            content.replace(b".", b","),
            content.replace(b",", b"|"),
            gzip.compress(content),
            gzip.compress(content)[: rng.randint(3, 200)],
            b"PK\x03\x04" + content,
            b"PAR1" + content,
            content + b"\x00" * rng.randint(1, 50),
            content.replace(b"0", b"\x00", 2),
        )
    )


def _other_form(rng: Rng, content: bytes) -> bytes:
    """The first rows as a workbook or as Parquet; half of the time with a few bytes wrong."""
    lines = [line.split(",") for line in content.decode("utf-8", errors="replace").splitlines()[:60]]
    stream = io.BytesIO()
    if rng.random() < 0.5:
        import openpyxl

        book = openpyxl.Workbook(write_only=True)
        sheet = book.create_sheet()
        for line in lines:
            sheet.append([_cell_of(rng, c) for c in line])
        book.save(stream)
    else:
        import pyarrow as pa
        from pyarrow import parquet

        width = min((len(line) for line in lines), default=0)
        columns = [[_cell_of(rng, line[k]) for line in lines[1:]] for k in range(width)]
        plain = [
            pa.array([None if isinstance(c, str) else c for c in column], pa.float64()) for column in columns
        ]
        mixed = [pa.array([str(c) for c in column]) for column in columns]
        made = [rng.choice((a, a, b)) for a, b in zip(plain, mixed, strict=True)]
        names = [c or f"column {k}" for k, c in enumerate(lines[0][:width])] if lines else []
        parquet.write_table(pa.Table.from_arrays(made, names), stream, row_group_size=25)
    content = stream.getvalue()
    content = _bytes(rng, content) if rng.random() < 0.5 else content
    return gzip.compress(content) if rng.random() < 0.1 else content


def _cell_of(rng: Rng, text: str) -> float | str:
    text = "".join(c for c in text if c.isprintable())[:200]
    if rng.random() < 0.02:
        return rng.choice(("1,5", "1.5", "25 %", "=A1", "", "9" * 300))
    with contextlib.suppress(ValueError):
        return float(text)
    return text


def _scaled(rng: Rng, content: bytes) -> bytes:
    place, factor = rng.randrange(8), rng.choice((-1.0, 0.0, 1e-9, 1e9, 1000.0, 0.5, float("nan")))

    def edit(rng: Rng, lines: list[bytes]) -> list[bytes]:
        out = []
        for line in lines:
            cells = line.split(b",")
            with contextlib.suppress(ValueError, IndexError):
                cells[place] = repr(float(cells[place]) * factor).encode()
            out.append(b",".join(cells))
        return out

    return _lines(rng, content, edit)


_LOG: tuple[Callable[[Rng, bytes], bytes], ...] = (
    _bytes, _cut, _cell, _cell, _column, _line, _line, _shuffle, _repeat, _header, _coded, _scaled,
    _other_form,
)  # fmt: skip


def mutate_campaign(rng: Rng, text: str) -> str:
    """A campaign file with one to three faults."""
    for _ in range(rng.randint(1, 3)):
        lines = text.split("\n")
        i = rng.randrange(len(lines))
        how = rng.randrange(7)
        if how == 0:
            del lines[i]
        elif how == 1:
            lines.insert(i, lines[rng.randrange(len(lines))])
        elif how == 2 and "=" in lines[i]:
            lines[i] = lines[i].partition("=")[0] + "= " + rng.choice(_VALUES)
        elif how == 3:
            lines.insert(i, f"{rng.choice(_KEYS)} = {rng.choice(_VALUES)}")
        elif how == 4 and lines[i]:
            at = rng.randrange(len(lines[i]))
            lines[i] = (
                lines[i][:at] + chr(rng.choice((0, 34, 91, 93, 61, 233, 0x1F600, 10))) + lines[i][at + 1 :]
            )
        elif how == 5:
            lines = lines[:i]
        else:
            lines[i] = lines[i].replace("_", "-").replace("runs", "run")
        text = "\n".join(lines)
    return text
