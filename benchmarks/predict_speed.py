"""How long predictions take once warm, beside plain ways to the same numbers in the same run.

Usage: python -m benchmarks.predict_speed [--draws N] [--points N] [--repeats N] [--json OUT]
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from benchmarks.common import machine
from motorfit.answers.bands import bands
from motorfit.answers.supply import PackChoice, pack_draws
from motorfit.physics.axes import speed_at
from motorfit.physics.drive import Drive, Load
from motorfit.physics.endurance import charge_nodes, discharge
from motorfit.physics.speed_change import speed_change
from motorfit.physics.steady import OperatingPoints, operating_points

Array = npt.NDArray[np.float64]

VOLTAGE, INTERVAL = 22.2, 0.9
CURVES = ("speed", "thrust", "torque", "bus_current", "electrical_power", "mechanical_power")
FEW = 40
"""Draws that the slow peers are given; their time is scaled up to all of them, and said."""


def main() -> int:
    options = _arguments()
    drive, load = _machine(options.draws)
    throttle = np.linspace(0.05, 1.0, options.points)
    report: dict[str, Any] = {
        "machine": machine(),
        "draws": options.draws,
        "points": options.points,
        "ms": {},
    }

    def timed(name: str, work: Callable[[], Any], scale: float = 1.0, repeats: int | None = None) -> Any:
        result = work()  # compiles, and warms caches
        walls, cpus = [], []
        for _ in range(repeats or options.repeats):
            wall, cpu = time.perf_counter(), time.process_time()
            result = work()
            walls.append(time.perf_counter() - wall)
            cpus.append(time.process_time() - cpu)
        row = {"wall": 1e3 * scale * float(np.median(walls)), "cpu": 1e3 * scale * float(np.median(cpus))}
        report["ms"][name] = row
        print(f"{name:58s} {row['wall']:10.1f} ms wall {row['cpu']:10.1f} ms cpu", flush=True)
        return result

    def whole() -> Any:
        return _bands(operating_points(throttle, VOLTAGE, drive, load))

    print(f"{options.draws} draws, {options.points} points, load {report['machine']['load']}")
    timed("six curves with bands", whole)
    found = timed("  of these: operating points", lambda: operating_points(throttle, VOLTAGE, drive, load))
    timed("  of these: three quantiles of six curves", lambda: _bands(found))
    plain = timed(
        "peer: numpy Newton on all points, np.quantile", lambda: _peer(throttle, drive, load), 1.0, 2
    )
    timed("peer: np.sort of six curves", lambda: _sorted(found), 1.0, 3)
    few, few_load = _some(drive, FEW), load_of(load, FEW)
    scale = options.draws / FEW
    roots = timed(
        f"peer: scipy brentq point by point ({FEW} draws, scaled)",
        lambda: _brentq(throttle, few, few_load),
        scale,
        1,
    )
    apart = float(np.max(np.abs(roots / found.speed[:FEW] - 1.0)))
    apart = max(apart, float(np.max(np.abs(plain / found.speed - 1.0))))
    print(f"largest difference of speed from the peers: {apart:.1e}")
    timed(
        "speed at given bus powers",
        lambda: speed_at("electrical_power", np.linspace(10.0, 600.0, options.points), VOLTAGE, drive, load),
    )
    ends = operating_points(np.array([0.1, 0.5]), VOLTAGE, drive, load).speed

    def step() -> tuple[Array, Array]:
        common: dict[str, Any] = {"inertia": 2e-5, "braking_share": 0.9}
        up = speed_change(0.5, VOLTAGE, drive, load, start=ends[:, 0], end=ends[:, 1], **common)
        down = speed_change(0.1, VOLTAGE, drive, load, start=ends[:, 1], end=ends[:, 0], **common)
        return up.time, down.time

    up, down = timed("step up and down", step)
    rise, fall = timed(
        f"peer: scipy solve_ivp, rtol 1e-8 ({FEW} draws, scaled)",
        lambda: _integrated(few, few_load, ends[:FEW]),
        scale,
        1,
    )
    apart = float(max(np.max(np.abs(rise / up[:FEW] - 1.0)), np.max(np.abs(fall / down[:FEW] - 1.0))))
    print(f"largest difference of times from the peer: {apart:.1e}")
    timed("discharge at one speed", lambda: _discharge(drive, options.draws))
    if options.json:
        Path(options.json).write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")
    return 0


def _machine(draws: int) -> tuple[Drive, Load]:
    rng = np.random.default_rng(1)

    def about(value: float, spread: float) -> Array:
        return np.asarray(value * np.exp(spread * rng.standard_normal(draws)))

    drive = Drive(
        k_e=about(0.0072, 0.002), k_t=about(0.0069, 0.01), resistance=about(0.055, 0.02),
        drag_static=about(0.5, 0.1), drag_slope=about(4e-4, 0.1), drag_windage=about(2e-8, 0.3),
        saturation_current=about(150.0, 0.1), controller_resistance=about(0.006, 0.1),
        idle_current=about(0.05, 0.3), current_limit=about(65.0, 0.01), duty_slope=about(1.0, 0.005),
        duty_curvature=about(0.03, 0.1),
    )  # fmt: skip
    load = Load(
        thrust_coefficient=about(0.143, 0.01), torque_coefficient=about(0.0101, 0.01), diameter=0.1778,
        density=1.19, thrust_exponent=about(0.05, 0.2), torque_exponent=-about(0.06, 0.2),
    )  # fmt: skip
    return drive, load


def _some(drive: Drive, count: int) -> Drive:
    fields = {name: getattr(drive, name) for name in Drive.__dataclass_fields__}
    return Drive(**{n: v[:count] if np.ndim(v) else v for n, v in fields.items()})


def load_of(load: Load, count: int) -> Load:
    fields = {name: getattr(load, name) for name in Load.__dataclass_fields__}
    return Load(**{n: v[:count] if np.ndim(v) else v for n, v in fields.items()})


def _curves(points: OperatingPoints) -> dict[str, Array]:
    return {name: getattr(points, name).T for name in CURVES}


def _bands(points: OperatingPoints) -> Any:
    return bands(_curves(points), INTERVAL)


def _sorted(points: OperatingPoints) -> list[Array]:
    return [np.sort(curve, axis=1) for curve in _curves(points).values()]


class _Balance:
    """The torque balance F(ω) in plain numpy, free and limited, on (draws, points) or scalars."""

    def __init__(self, drive: Drive, load: Load, throttle: Any, row: Any = slice(None)) -> None:
        def pick(value: Any) -> Any:
            array = np.asarray(value, dtype=np.float64)
            if array.ndim and not isinstance(row, slice):
                return float(array[row])
            return array[:, np.newaxis] if array.ndim else array

        d = 1.0 - pick(drive.duty_slope) * (1.0 - throttle)
        d = np.clip(d + pick(drive.duty_curvature) * throttle * (1.0 - throttle), 0.0, 1.0)
        self.total = pick(drive.resistance) + pick(drive.controller_resistance)
        self.u, self.k_e, self.k_t = d * VOLTAGE, pick(drive.k_e), pick(drive.k_t)
        self.drag = [pick(drive.drag_static), pick(drive.drag_slope), pick(drive.drag_windage)]
        self.soft, self.limit = pick(drive.saturation_current), pick(drive.current_limit)
        self.torque, self.exponent = pick(load.torque_factor()), pick(load.torque_exponent)
        self.reference = pick(load.reference_speed())

    def __call__(self, w: Any) -> Any:
        i = np.minimum((self.u - self.k_e * w) / self.total, self.limit)
        over = i - self.drag[0] - w * (self.drag[1] + w * self.drag[2])
        load = self.torque * w * w * (np.maximum(w, 1e-6) / self.reference) ** self.exponent
        return self.k_t / (1.0 + (i / self.soft) ** 2) * over - load


def _peer(throttle: Array, drive: Drive, load: Load) -> Array:
    """All points at once, by Newton steps with a difference for the slope, as one would write it in numpy."""
    f = _Balance(drive, load, throttle)
    w = 0.7 * f.u / f.k_e
    for _ in range(30):
        h = 1e-6 * w
        value = f(w)
        move = value * h / (f(w + h) - value)
        w = np.clip(w - move, 1e-3, f.u / f.k_e)
        if np.max(np.abs(move) / w) < 1e-9:
            break
    for _ in CURVES:
        np.quantile(w, (0.5, 0.05, 0.95), axis=0)
    return np.asarray(w)


def _brentq(throttle: Array, drive: Drive, load: Load) -> Array:
    out = np.empty((FEW, throttle.size))
    for s in range(FEW):
        for k, x in enumerate(throttle):
            f = _Balance(drive, load, x, s)
            out[s, k] = brentq(f, 1e-3, float(f.u / f.k_e), rtol=1e-10)
    return out


def _integrated(drive: Drive, load: Load, ends: Array) -> tuple[Array, Array]:
    times = np.empty((2, FEW))
    for s in range(FEW):
        for way, (x, start, end) in enumerate(((0.5, ends[s, 0], ends[s, 1]), (0.1, ends[s, 1], ends[s, 0]))):
            f = _Balance(drive, load, x, s)

            def slope(_t: float, y: Array, f: _Balance = f) -> list[float]:
                w = float(y[0])
                i = (f.u - f.k_e * w) / f.total
                i = min(max(i if i > 0.0 else 0.9 * i, -float(f.limit)), float(f.limit))
                over = i - f.drag[0] - w * (f.drag[1] + w * f.drag[2])
                drag = f.torque * w * w * (max(w, 1e-6) / f.reference) ** f.exponent
                return [float(f.k_t / (1.0 + (i / f.soft) ** 2) * over - drag) / 2e-5]

            marks = [start + share * (end - start) for share in (0.1, 0.9)]
            events = [lambda _t, y, m=m: y[0] - m for m in marks]
            done = solve_ivp(slope, (0.0, 1.0), [start], rtol=1e-8, atol=1e-6, events=events)
            times[way, s] = done.t_events[1][0] - done.t_events[0][0]
    return times[0], times[1]


def _discharge(drive: Drive, draws: int) -> Any:
    charges = charge_nodes(1.0, 0.2)
    pack = pack_draws(PackChoice(6, 1300.0), draws)
    return discharge(800.0, 0.03, drive, charges, pack.open_circuit_voltage(charges), pack.capacity, 4)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--points", type=int, default=100)
    parser.add_argument("--repeats", type=int, default=21)
    parser.add_argument("--json", metavar="OUT")
    return parser.parse_args()


if __name__ == "__main__":
    raise SystemExit(main())
