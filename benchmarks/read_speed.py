"""How fast a long log is read, and how much memory it takes; beside, Arrow and pandas reading the same.

Processor time is printed as well: on a busy machine it is the figure to trust.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import tempfile
import time
from collections.abc import Callable
from multiprocessing.context import SpawnContext
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine, note

HEADER = (
    "time [s],throttle [%],voltage [V],current [A],speed [rpm],thrust [N],torque [N m],"
    "winding temperature [degC]"
)
FORMAT = "%.4f,%.2f,%.3f,%.3f,%.1f,%.3f,%.5f,%.1f\n"


def write_log(path: Path, rows: int, odd: int) -> None:
    """A log of eight columns; `odd` of its lines are comments, spread over it."""
    rng = np.random.default_rng(1)
    t = np.arange(rows) * 1e-4
    level = 50.0 + 45.0 * np.sin(t / 3.0)
    columns = [t, level, 23.5 + 0.02 * rng.normal(size=rows), 0.3 * level + rng.normal(size=rows)]
    columns += [200.0 * level + 5 * rng.normal(size=rows), 0.1 * level, 0.002 * level, 25.0 + 0.1 * level]
    lines = [FORMAT % row for row in zip(*(c.tolist() for c in columns), strict=True)]
    for k in range(odd):
        lines[(2 * k + 1) * rows // (2 * odd + 1)] = "# a remark\n"
    path.write_text(HEADER + "\n" + "".join(lines))


def _ours(path: Path) -> Callable[[], object]:
    from motorfit.bench.logfile import read_table

    return lambda: read_table(path, path.read_bytes())


def _peer(path: Path) -> Callable[[], object]:
    from pyarrow import csv

    options = csv.ParseOptions(invalid_row_handler=lambda row: "skip")
    return lambda: csv.read_csv(path, parse_options=options)


def _pandas(path: Path) -> Callable[[], object]:
    import pandas

    return lambda: pandas.read_csv(path, engine="pyarrow")


def _peak_kib() -> int:
    """Peak resident memory of this process [KiB]; the kernel's own count, not inherited from a parent."""
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    return next((int(line.split()[1]) for line in lines if line.startswith("VmHWM")), 0)


def _measure(which: str, path: Path, repeats: int) -> dict[str, float]:
    """In a process of its own: the growth of its peak memory over one read, then times of warm reads.

    A short log of the same form is read first, so that loading libraries counts for neither.
    """
    readers = {"motorfit": _ours, "arrow": _peer, "pandas": _pandas}
    read = readers[which](path)
    readers[which](path.with_name(path.name.replace("long", "small")))()
    before = _peak_kib()
    times, processor = [], []
    for i in range(repeats + 1):
        start, used = time.perf_counter(), time.process_time()
        cells = read()
        times.append(time.perf_counter() - start)
        processor.append(time.process_time() - used)
        if i == 0:
            grown = _peak_kib() - before
    size = path.stat().st_size
    held = getattr(getattr(cells, "numbers", None), "nbytes", np.nan)
    return {
        "median_s": float(np.median(times[1:])),
        "best_s": min(times[1:]),
        "cpu_s": float(np.median(processor[1:])),
        "memory_per_byte": grown * 1024 / size,
        "memory_per_byte_of_numbers": grown * 1024 / held,
    }


def _as_other_formats(path: Path) -> list[Path]:
    """The log once more, compressed, as Parquet and as netCDF; and a twentieth of its rows as a workbook."""
    import gzip

    import openpyxl
    from netCDF4 import Dataset
    from pyarrow import csv, parquet

    table = csv.read_csv(path)
    made = [path.with_name(f"{path.stem}.{suffix}") for suffix in ("csv.gz", "parquet", "nc", "xlsx")]
    made[0].write_bytes(gzip.compress(path.read_bytes(), 6))
    parquet.write_table(table, made[1])
    with Dataset(made[2], "w") as file:
        file.createDimension("row", table.num_rows)
        for name in table.column_names:
            label, _, unit = name.partition(" [")
            variable = file.createVariable(label.replace(" ", "_"), "f8", ("row",))
            variable.units = unit.rstrip("]")
            variable[:] = table.column(name).to_numpy()
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("log")
    sheet.append(table.column_names)
    for row in zip(*(c.to_pylist() for c in table.slice(0, table.num_rows // 20).columns), strict=True):
        sheet.append(row)
    book.save(made[3])
    return made


def _report(
    which: str, label: str, path: Path, repeats: int, context: SpawnContext, found: dict[str, Any]
) -> None:
    with context.Pool(1) as pool:
        row = pool.apply(_measure, (which, path, repeats))
    found[f"{which}, {label}"] = row
    note(
        f"  {which:9} {row['median_s']:.3f} s median, {row['best_s']:.3f} s best, {row['cpu_s']:.3f} s of "
        f"processor, peak memory {row['memory_per_byte']:.1f} x the file, "
        f"{row['memory_per_byte_of_numbers']:.1f} x its numbers"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--json", type=Path)
    chosen = parser.parse_args()
    found: dict[str, Any] = {"machine": machine(), "rows": chosen.rows}
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_log(folder / "small.csv", 60_000, 0)
        _as_other_formats(folder / "small.csv")
        for label, odd in (("clean", 0), ("three odd lines", 3)):
            path = folder / "long.csv"
            write_log(path, chosen.rows, odd)
            note(f"{label}: {path.stat().st_size / 1e6:.1f} MB")
            for which in ("motorfit", "arrow", "pandas"):
                if which != "motorfit" and odd:
                    continue  # they have no notion of remarks among the rows
                _report(which, label, path, chosen.repeats, context, found)
            if not odd:
                for other in _as_other_formats(path):
                    note(f"{other.name}: {other.stat().st_size / 1e6:.1f} MB")
                    _report("motorfit", other.name, other, chosen.repeats, context, found)
    note(f"load {found['machine']['load']}")
    if chosen.json:
        chosen.json.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
