"""Checks of a campaign file that look at more than one key: references, files, units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from motorfit.bench.faults import MISSING, Fault, join, listed, shown, suggestion
from motorfit.bench.models import ChannelDoubt
from motorfit.quantities import CHANNELS
from motorfit.units import EXAMPLES, RPM, UnitError, channel_conversion

COLUMN_NAMES = ("time", *CHANNELS)
SENSORS = tuple(name for name in CHANNELS if name != "throttle")
_NEEDS_LOAD = ("ramp", "hold", "steps")
_NOT_READ = {
    ".xls": "Save it as .xlsx or .csv.",
    ".ods": "Save it as .xlsx or .csv.",
    ".zip": "Unpack it.",
    ".mat": "Save it as .csv or .parquet.",
    ".json": "Save it as .csv or .parquet.",
}


def check_unique(tables: Sequence[Mapping[str, Any]], section: str) -> list[Fault]:
    """Ids that stand twice in a section."""
    seen: dict[str, int] = {}
    faults: list[Fault] = []
    for i, table in enumerate(tables):
        name = table.get("id")
        if not isinstance(name, str):
            continue
        if name in seen:
            faults.append(
                Fault(
                    join(section, i, "id"),
                    shown(name),
                    f"an id not used by {section}[{seen[name]}]",
                    "Give every one its own id.",
                )
            )
        seen.setdefault(name, i)
    return faults


def check_inertias(table: Mapping[str, Any], path: str) -> list[Fault]:
    """A doubt about an inertia that is not given."""
    if "inertia_sd_kg_m2" in table and "inertia_kg_m2" not in table:
        return [
            Fault(
                join(path, "inertia_kg_m2"),
                MISSING,
                "an inertia to go with inertia_sd_kg_m2",
                "Add inertia_kg_m2 or take inertia_sd_kg_m2 away.",
            )
        ]
    return []


def check_controller(table: object) -> list[Fault]:
    """A doubt about a resistance that is not given."""
    if isinstance(table, Mapping) and "resistance_sd_ohm" in table and "resistance_ohm" not in table:
        return [
            Fault(
                "bench.controller.resistance_ohm",
                MISSING,
                "a resistance to go with resistance_sd_ohm",
                "Add resistance_ohm or take resistance_sd_ohm away.",
            )
        ]
    return []


def convert_channel_doubts(
    channels: Mapping[str, ChannelDoubt],
) -> tuple[dict[str, ChannelDoubt], list[Fault]]:
    """The channels' doubts with speed offsets in rad/s (a file gives rpm), and names that are no channel."""
    faults = [
        Fault(
            join("bench.channels", name),
            "a table",
            listed(SENSORS),
            suggestion(name, SENSORS, "Use the name of a channel."),
        )
        for name in channels
        if name not in SENSORS
    ]
    converted = dict(channels)
    speed = channels.get("speed")
    if speed is not None and speed.offset_sd is not None:
        converted["speed"] = speed.model_copy(update={"offset_sd": speed.offset_sd * RPM})
    return converted, faults


def check_references(table: Mapping[str, Any], path: str, ids: Mapping[str, list[str]]) -> list[Fault]:
    """Ids of a motor, propeller or flywheel that are not declared."""
    return [f for key in ("motor", "propeller", "flywheel") for f in _reference(table, key, path, ids)]


def _reference(table: Mapping[str, Any], key: str, path: str, ids: Mapping[str, list[str]]) -> list[Fault]:
    value = table.get(key)
    if not isinstance(value, str) or value in ids[key]:
        return []
    return [
        Fault(
            join(path, key),
            shown(value),
            listed(ids[key]),
            suggestion(value, ids[key], f"Declare it with [[{key}s]] or correct the id."),
        )
    ]


def check_run(
    table: Mapping[str, Any], file: object, path: str, ids: Mapping[str, list[str]], pole_pairs: int | None
) -> list[Fault]:
    """A run's references, load, log file and columns."""
    faults = check_references(table, path, ids)
    faults += _load(table, path)
    faults += check_window(table, path)
    if isinstance(file, Path):
        faults += _log_file(table, file, path)
    columns = table.get("columns", {})
    if isinstance(columns, Mapping):
        for name, column in columns.items():
            faults += _column(name, column, table, join(path, "columns", name), pole_pairs)
    return faults


def _load(table: Mapping[str, Any], path: str) -> list[Fault]:
    kind, loads = table.get("kind"), [k for k in ("propeller", "flywheel") if table.get(k) is not None]
    faults: list[Fault] = []
    if len(loads) == 2:
        faults.append(
            Fault(
                join(path, "flywheel"),
                shown(table["flywheel"]),
                "a propeller or a flywheel, not both",
                "Take one of them away.",
            )
        )
    if kind == "no-load" and loads:
        faults.append(
            Fault(
                join(path, loads[0]),
                shown(table[loads[0]]),
                "neither propeller nor flywheel for no-load",
                "Take it away, or correct the run's kind.",
            )
        )
    if kind in _NEEDS_LOAD and not loads:
        faults.append(
            Fault(
                join(path, "propeller"),
                MISSING,
                f"a propeller or a flywheel for a {kind}",
                "Add it; a bare motor's run has the kind no-load, spin-up, coast-down or table.",
            )
        )
    if table.get("speed_of") == "flywheel" and table.get("flywheel") is None:
        faults.append(
            Fault(
                join(path, "speed_of"),
                '"flywheel"',
                '"motor", or a flywheel on the run',
                "Add flywheel, or take speed_of away.",
            )
        )
    return faults


def _log_file(table: Mapping[str, Any], file: Path, path: str) -> list[Fault]:
    where, value = join(path, "file"), shown(table["file"])
    if file.suffix.lower() in _NOT_READ:
        return [
            Fault(
                where,
                value,
                "CSV, TSV or other text (also gzip), Parquet, XLSX, netCDF",
                _NOT_READ[file.suffix.lower()],
            )
        ]
    if file.is_file():
        return []
    if file.is_dir():
        return [Fault(where, value, "a log file", "This is a folder; name the file in it.")]
    near = suggestion(
        file.name,
        [p.name for p in file.parent.glob("*")] if file.parent.is_dir() else [],
        "No such file; paths are relative to the campaign file.",
    )
    return [Fault(where, value, "a file that exists", near)]


def _column(
    name: str, column: object, run: Mapping[str, Any], path: str, pole_pairs: int | None
) -> list[Fault]:
    if name not in COLUMN_NAMES:
        return [
            Fault(
                path,
                shown(column),
                listed(COLUMN_NAMES),
                suggestion(name, COLUMN_NAMES, "Use the name of a channel, or time."),
            )
        ]
    if name == "time" and run.get("kind") == "table":
        return [
            Fault(
                path,
                shown(column),
                "no time in a table of steady points",
                "Take it away, or correct the run's kind.",
            )
        ]
    unit = column.get("unit") if isinstance(column, Mapping) else None
    if not isinstance(unit, str) or not unit:
        return []
    try:
        channel_conversion(name, unit, pole_pairs)
    except UnitError as error:
        return [
            Fault(
                join(path, "unit"),
                shown(unit),
                EXAMPLES[name],
                f"{str(error).partition(';')[0]}.".capitalize()
                if not str(error).startswith("eRPM")
                else f"{error}.",
            )
        ]
    return []


def check_repeats(tables: Sequence[Mapping[str, Any]]) -> list[Fault]:
    """Logs, or parts of logs, that two runs of one motor both claim: their samples would count twice."""
    faults: list[Fault] = []
    readers: dict[tuple[str, str], list[int]] = {}
    for i, table in enumerate(tables):
        file, motor = table.get("file"), table.get("motor")
        if not isinstance(file, str) or not isinstance(motor, str):
            continue
        earlier = readers.setdefault((file, motor), [])
        same = next((j for j in earlier if not _apart(table, tables[j])), None)
        if same is not None:
            faults.append(
                Fault(
                    join("runs", i, "file"),
                    shown(file),
                    f"a file, or a part of a file, not read by runs[{same}]",
                    "Name each run's own log; one read twice would count double. Several runs of one file "
                    "are told apart by part, by from_s and to_s, or by where.",
                )
            )
        earlier.append(i)
    return faults


def check_window(table: Mapping[str, Any], path: str) -> list[Fault]:
    """A span of time that ends before it begins, and choices of rows that a table cannot have."""
    faults: list[Fault] = []
    start, end = table.get("from_s"), table.get("to_s")
    if isinstance(start, (int, float)) and isinstance(end, (int, float)) and end <= start:
        faults.append(
            Fault(join(path, "to_s"), shown(end), f"above from_s = {start}", "Correct one of the two.")
        )
    for key in ("from_s", "to_s"):
        if table.get("kind") == "table" and key in table:
            faults.append(
                Fault(
                    join(path, key),
                    shown(table[key]),
                    "no time in a table of steady points",
                    "Choose its rows with part or where, or correct the run's kind.",
                )
            )
    return faults


def _apart(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two runs of one file state that they take different rows."""
    if one.get("part") != other.get("part") and None not in (one.get("part"), other.get("part")):
        return True
    a, b = one.get("where"), other.get("where")
    if isinstance(a, Mapping) and isinstance(b, Mapping) and a.get("column") == b.get("column"):
        return bool(a.get("equals") != b.get("equals"))
    starts = [t.get("from_s") or 0.0 for t in (one, other)]
    ends = [t.get("to_s") or float("inf") for t in (one, other)]
    if not all(isinstance(v, (int, float)) for v in (*starts, *ends)):
        return True  # refused elsewhere
    return bool(ends[0] <= starts[1] or ends[1] <= starts[0])
