"""Terminal tables of step and hover. Building them prints nothing: the caller's console does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from motorfit.report.format import interval_texts, percent
from motorfit.report.tables import cautions, plain_table

if TYPE_CHECKING:
    from motorfit.answers.bands import Band
    from motorfit.answers.hover import HoverAnswer
    from motorfit.answers.shaft import TorqueCurve
    from motorfit.answers.step import StepAnswer

_Row = tuple[str, str, str, float]

_STEP: tuple[_Row, ...] = (
    ("settled speed at {low}", "start_speed_rpm", "rpm", 1.0),
    ("settled speed at {high}", "end_speed_rpm", "rpm", 1.0),
    ("speeding up, 10 to 90 %", "rise_time_s", "ms", 1e3),
    ("speeding up, jump to 90 %", "rise_from_command_s", "ms", 1e3),
    ("slowing down, 10 to 90 %", "fall_time_s", "ms", 1e3),
    ("slowing down, jump to 90 %", "fall_from_command_s", "ms", 1e3),
    ("peak acceleration", "peak_acceleration_rpm_per_s", "krpm/s", 1e-3),
    ("peak motor current, jump upwards", "peak_motor_current_a", "A", 1.0),
    ("peak deceleration", "peak_deceleration_rpm_per_s", "krpm/s", 1e-3),
)
_HOVER: tuple[_Row, ...] = (
    ("throttle at the start", "hover_throttle", "%", 100.0),
    ("throttle at the end", "hover_throttle_end", "%", 100.0),
    ("speed", "speed_rpm", "rpm", 1.0),
    ("motor current, each", "motor_current_a", "A", 1.0),
    ("pack current at the start", "current_a", "A", 1.0),
    ("pack current at the end", "current_end_a", "A", 1.0),
    ("power, all motors", "hover_power_w", "W", 1.0),
    ("pack voltage at the start", "pack_voltage_v", "V", 1.0),
    ("pack voltage at the end", "pack_voltage_end_v", "V", 1.0),
    ("flight time", "flight_time_s", "min", 1.0 / 60.0),
    ("full thrust over weight", "thrust_to_weight", "", 1.0),
    ("settled winding temperature", "steady_winding_temperature_c", "°C", 1.0),
    ("continuous motor current at {limit} °C", "continuous_motor_current_a", "A", 1.0),
)
HOVER_SAFETY = (
    "Spinning propellers and lithium packs hurt people. This is a prediction from a bench, not a clearance "
    "to fly: test with the aircraft restrained, watch pack and motors, keep to local rules, the makers' "
    "limits and licensed practice."
)


def step_table(answer: StepAnswer) -> Group:
    """Return a step's times and rates with intervals, its warnings above."""
    title = f"{answer.motor} with {answer.propeller} on {answer.supply}"
    names = {"low": f"throttle {answer.low_throttle:g}", "high": f"throttle {answer.high_throttle:g}"}
    return _points(title, _STEP, answer.points, names, answer.interval, answer.warnings)


def hover_table(answer: HoverAnswer) -> Group:
    """Return what hovering takes, with intervals, warnings above and a word of safety below."""
    pack = answer.pack
    cells = "1 cell" if pack.cells == 1 else f"{pack.cells} cells"
    title = (
        f"{answer.motors} × {answer.motor} with {answer.propeller}, {answer.mass_g:g} g, {cells} "
        f"of {pack.capacity_mah:g} mAh down to {100 * answer.reserve:.0f} %"
    )
    names = {"limit": f"{answer.winding_limit_c:g}"}
    group = _points(title, _HOVER, answer.points, names, answer.interval, answer.warnings)
    return Group(group, Text(HOVER_SAFETY, style="yellow"))


_TORQUE: tuple[_Row, ...] = (
    ("no-load speed", "no_load_speed_rpm", "rpm", 1.0),
    ("no-load current from the bus", "no_load_current_a", "A", 1.0),
    ("stall torque", "stall_torque_nm", "mN·m", 1e3),
    ("stall motor current", "stall_motor_current_a", "A", 1.0),
    ("peak torque", "peak_torque_nm", "mN·m", 1e3),
    ("slope at no load", "torque_slope_nm_per_rpm", "mN·m/krpm", 1e6),
    ("peak shaft power", "peak_power_w", "W", 1.0),
    ("its speed", "peak_power_speed_rpm", "rpm", 1.0),
    ("peak efficiency, shaft over bus", "peak_efficiency", "%", 100.0),
    ("its speed", "peak_efficiency_speed_rpm", "rpm", 1.0),
)
_TORQUE_CURVES = (
    ("torque\nmN·m", "torque_nm", 1e3),
    ("motor current\nA", "motor_current_a", 1.0),
    ("bus current\nA", "current_a", 1.0),
    ("shaft power\nW", "mechanical_power_w", 1.0),
    ("efficiency\n%", "motor_efficiency", 100.0),
)


def torque_table(answer: TorqueCurve) -> Group:
    """Return torque over speed and the points that mark it, warnings above."""
    title = f"{answer.motor} on {answer.supply}, throttle {answer.throttle:g}"
    marks = _points(title, _TORQUE, answer.points, {}, answer.interval, answer.warnings)
    table = plain_table("")
    table.add_column("speed\nrpm", justify="right", no_wrap=True)
    for heading, _, _ in _TORQUE_CURVES:
        table.add_column(heading, justify="right", no_wrap=True)
    for k, speed in enumerate(answer.speed_rpm):
        cells = []
        for _, name, factor in _TORQUE_CURVES:
            curve = answer.curves[name]
            at = (float(curve.median[k]), float(curve.low[k]), float(curve.high[k]))
            cells.append(interval_texts(*at, factor)[0])
        table.add_row(f"{speed:.0f}", *cells)
    return Group(marks, table, Text("Curves are medians; --json has their intervals.", style="dim"))


def _points(
    title: str,
    rows: Iterable[_Row],
    points: Mapping[str, Band],
    names: Mapping[str, str],
    interval: float,
    warnings: Iterable[object],
) -> Group:
    table = plain_table(title)
    table.add_column("", overflow="fold")
    table.add_column("median", justify="right", no_wrap=True)
    table.add_column(f"{percent(interval)} interval", justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    for label, name, unit, factor in rows:
        if name not in points:
            continue
        found = points[name]
        texts = interval_texts(float(found.median[0]), float(found.low[0]), float(found.high[0]), factor)
        table.add_row(Text(label.format(**names)), texts[0], f"{texts[1]} … {texts[2]}", unit)
    return Group(*cautions(warnings), table)
