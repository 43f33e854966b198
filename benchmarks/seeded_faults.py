"""Faults of real logs, seeded into simulated ones at the size they have on a bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
NAMES = {"voltage": "voltage [V]", "current": "current [A]", "speed": "speed [rpm]", "time": "time [s]"}
NAMES |= {"thrust": "thrust [N]", "torque": "torque [N m]", "throttle": "throttle [%]"}


@dataclass
class Logs:
    """Logs with a fault: the changed ones' bytes by run id; the fault's span [s], None for all of the run."""

    changed: dict[str, bytes]
    start_s: float | None = None
    end_s: float | None = None
    detail: str = ""


Seeder = Callable[[np.random.Generator, Mapping[str, str]], Logs]


@dataclass
class Fault:
    """A fault: how to seed it, and the kinds of finding that would name it."""

    name: str
    kinds: tuple[str, ...]
    seed: Seeder
    channel: str | None = None
    whole_bench: bool = False


@dataclass
class Table:
    """A log's header and numbers."""

    names: list[str]
    values: Array
    formats: list[str] = field(default_factory=list)

    @staticmethod
    def of(text: str) -> Table:
        header, *lines = text.splitlines()
        values = np.array([[float(c) for c in line.split(",")] for line in lines])
        places = [len(c.partition(".")[2]) for c in lines[0].split(",")]
        return Table(header.split(","), values, [f"%.{p}f" for p in places])

    def __getitem__(self, channel: str) -> Array:
        return self.values[:, self.names.index(NAMES[channel])]

    def __setitem__(self, channel: str, values: Array) -> None:
        self.values[:, self.names.index(NAMES[channel])] = values

    def bytes(self) -> bytes:
        line = ",".join(self.formats)
        rows = [line % tuple(r) for r in self.values.tolist()]
        return "\n".join([",".join(self.names), *rows, ""]).encode()


def one(texts: Mapping[str, str], kind: str) -> tuple[str, Table]:
    """The log of a kind of run."""
    name = next(n for n in texts if f"-{kind}" in n)
    return name, Table.of(texts[name])


def _driving(rng: np.random.Generator, table: Table, seconds: float) -> tuple[int, int]:
    """A stretch somewhere in the faster part of a run; [first, end) of its rows."""
    size = max(round(seconds * 500), 1)
    speed = table["speed"]
    fast = np.flatnonzero(speed[: len(speed) - size - 5] > 0.4 * speed.max())
    first = int(rng.choice(fast[fast > 20]))
    return first, first + size


def late(channel: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        seconds = float(rng.uniform(0.012, 0.1))
        changed = {}
        for name, text in texts.items():
            table = Table.of(text)
            if NAMES[channel] in table.names:
                at = table["time"]
                table[channel] = np.interp(at - seconds, at, table[channel])
                changed[name] = table.bytes()
        return Logs(changed, detail=f"{1e3 * seconds:.0f} ms")

    return seed


def held(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    name, table = one(texts, "steps")
    rows = int(rng.integers(4, 26))
    table["thrust"] = np.repeat(table["thrust"][::rows], rows)[: len(table.values)]
    return Logs({name: table.bytes()}, detail=f"{rows} rows")


def code(channel: str, value: float) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, "ramp")
        at = rng.choice(len(table.values), 4, replace=False)
        values = table[channel].copy()
        values[at] = value
        table[channel] = values
        return Logs({name: table.bytes()})

    return seed


def harmonic(seconds: tuple[float, float]) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, "ramp")
        factor = float(rng.choice([0.0, 0.5, 2.0]))
        first, end = _driving(rng, table, float(rng.uniform(*seconds)))
        speed = table["speed"].copy()
        speed[first:end] *= factor
        table["speed"] = speed
        at = table["time"]
        return Logs({name: table.bytes()}, float(at[first]), float(at[end - 1]), f"x {factor}")

    return seed


def drifted(channel: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, str(rng.choice(["ramp", "steps"])))
        share = float(rng.uniform(0.04, 0.1) * rng.choice([-1, 1]))
        at = table["time"]
        table[channel] = table[channel] + share * table[channel].max() * at / at[-1]
        return Logs({name: table.bytes()}, detail=f"{share:.3f} of the top in {name}")

    return seed


def moved(channel: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, str(rng.choice(["ramp", "steps"])))
        share = float(rng.uniform(0.04, 0.15) * rng.choice([-1, 1]))
        table[channel] = table[channel] + share * table[channel].max()
        return Logs({name: table.bytes()}, detail=f"{share:.3f} of the top")

    return seed


def saturated(channel: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, "ramp")
        top = float(rng.uniform(0.5, 0.9)) * table[channel].max()
        table[channel] = np.minimum(table[channel], top)
        return Logs({name: table.bytes()}, detail=f"at {top:.3g}")

    return seed


def scaled(channel: str, factor: float | tuple[float, ...], *kinds: str) -> Seeder:
    """A channel times a factor, in the runs of some kinds, in all of them where none is named."""

    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        chosen = factor if isinstance(factor, float) else float(rng.choice(factor))
        changed = {}
        for name, text in texts.items():
            table = Table.of(text)
            if NAMES[channel] in table.names and (not kinds or any(f"-{k}" in name for k in kinds)):
                table[channel] = table[channel] * chosen
                table.formats = ["%.7g"] * len(table.formats)
                changed[name] = table.bytes()
        return Logs(changed, detail=f"x {chosen:.4g}")

    return seed


def joined(how: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, str(rng.choice(["ramp", "spin-up"])))
        again = table.values.copy()
        start = table["time"][-1]
        if how == "goes on":
            again[:, table.names.index(NAMES["time"])] += start + float(rng.uniform(0.002, 5.0))
        first = table.bytes()
        second = Table(table.names, again, table.formats).bytes()
        body = second.split(b"\n", 1)[1] if how != "with its header" else second
        return Logs({name: first + body})

    return seed


def stops(channel: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, "steps" if channel != "speed" else "ramp")
        values = table[channel].copy()
        first = int(rng.uniform(0.3, 0.85) * len(values))
        end = len(values) if rng.uniform() < 0.5 else min(first + int(rng.integers(150, 800)), len(values))
        values[first:end] = values[first]
        table[channel] = values
        at = table["time"]
        return Logs({name: table.bytes()}, float(at[first]), float(at[end - 1]), f"{end - first} rows")

    return seed


def sags(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    name, table = one(texts, "spin-up")
    begin = int(np.flatnonzero(table["throttle"] > 0)[0])
    length = round(float(rng.uniform(0.1, 0.8)) * 500)
    voltage = table["voltage"].copy()
    depth = float(rng.uniform(0.4, 0.65))
    voltage[begin : begin + length] *= np.linspace(depth, 1.0, length)
    table["voltage"] = voltage
    at = table["time"]
    return Logs({name: table.bytes()}, float(at[begin]), float(at[begin + length]), f"to {depth:.2f}")


def gap(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    name, table = one(texts, "steps")
    first, end = _driving(rng, table, float(rng.uniform(0.1, 1.0)))
    at = table["time"]
    start, stop = float(at[first]), float(at[end])
    table.values = np.delete(table.values, np.arange(first, end), axis=0)
    return Logs({name: table.bytes()}, start, stop)


def spikes(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    name, table = one(texts, "ramp")
    speed = table["speed"].copy()
    at = rng.choice(np.arange(1000, len(speed) - 100), 3, replace=False)
    speed[at] += rng.choice([-1, 1], 3) * rng.uniform(0.15, 0.6, 3) * speed.max()
    table["speed"] = np.maximum(speed, 0.0)
    return Logs({name: table.bytes()})


def uneven(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    name, table = one(texts, "ramp")
    keep = rng.uniform(size=len(table.values)) < 0.6
    keep[:2] = keep[-1] = True
    table.values = table.values[keep]
    return Logs({name: table.bytes()})


def lines(edit: Callable[[np.random.Generator, list[str]], list[str]]) -> Seeder:
    """A fault of the text: its lines, without line ends, header first, are edited."""

    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name = next(n for n in texts if "-ramp" in n)
        return Logs({name: "\n".join(edit(rng, texts[name].splitlines())).encode()})

    return seed


def _at(rng: np.random.Generator, body: list[str]) -> int:
    return int(rng.integers(50, len(body) - 50))


def _insert(text: str) -> Seeder:
    def edit(rng: np.random.Generator, body: list[str]) -> list[str]:
        i = _at(rng, body)
        return [*body[:i], text if text != "HEADER" else body[0], *body[i:], ""]

    return lines(edit)


def _cell(value: str) -> Seeder:
    def edit(rng: np.random.Generator, body: list[str]) -> list[str]:
        i = _at(rng, body)
        cells = body[i].split(",")
        cells[3] = value
        return [*body[:i], ",".join(cells), *body[i + 1 :], ""]

    return lines(edit)


def _short(rng: np.random.Generator, body: list[str]) -> list[str]:
    i = _at(rng, body)
    return [*body[:i], body[i].rsplit(",", 2)[0], *body[i + 1 :], ""]


def _long(rng: np.random.Generator, body: list[str]) -> list[str]:
    i = _at(rng, body)
    return [*body[:i], body[i] + ",17", *body[i + 1 :], ""]


def _twice(rng: np.random.Generator, body: list[str]) -> list[str]:
    i = _at(rng, body)
    return [*body[:i], body[i], *body[i:], ""]


def _stamp(rng: np.random.Generator, body: list[str]) -> list[str]:
    i = _at(rng, body)
    return [*body[: i + 1], body[i].split(",")[0] + "," + body[i + 1].split(",", 1)[1], *body[i + 2 :], ""]


def _backward(rng: np.random.Generator, body: list[str]) -> list[str]:
    i = _at(rng, body)
    return [*body[:i], body[i + 1], body[i], *body[i + 2 :], ""]


def _cut(rng: np.random.Generator, body: list[str]) -> list[str]:
    return [*body[:-1], body[-1][: int(rng.integers(5, 25))]]


def _first_cut(rng: np.random.Generator, body: list[str]) -> list[str]:
    return [body[0], body[1].split(",", 3)[3], *body[2:], ""]


EVERYWHERE = ("pole-count",)
FAULTS = (
    *(Fault(f"{c} late by 12 to 100 ms", ("late-channel",), late(c), c, whole_bench=True)
      for c in ("thrust", "torque", "current", "voltage", "speed")),
    Fault("values held for 4 to 25 rows", ("values-held",), held, "thrust"),
    Fault("255 in current", ("fault-code",), code("current", 255.0), "current"),
    Fault("255 in throttle", ("fault-code",), code("throttle", 255.0), "throttle"),
    Fault("65535 in thrust", ("fault-code",), code("thrust", 65535.0), "thrust"),
    Fault("speed at 0, half, double for 2 to 140 ms", ("speed-dropout",), harmonic((0.002, 0.14)), "speed"),
    Fault("speed at 0, half, double for 0.2 to 3 s", ("speed-harmonic",), harmonic((0.2, 3.0)), "speed"),
    Fault("spikes of speed", ("spikes", "speed-dropout"), spikes, "speed"),
    *(Fault(f"tare of {c} drifts by 4 to 10 %", ("tare-drifted",), drifted(c), c)
      for c in ("thrust", "torque")),
    *(Fault(f"tare of {c} moved by 4 to 15 %", ("tare-moved",), moved(c), c, whole_bench=True)
      for c in ("thrust", "torque")),
    *(Fault(f"{c} saturated", ("saturated",), saturated(c), c) for c in ("thrust", "torque", "current")),
    *(Fault(f"sign of {c}", ("sign",), scaled(c, -1.0, "ramp"), c) for c in ("thrust", "torque", "current")),
    Fault("two runs joined, time starts over", ("clock-starts-over",), joined("starts over")),
    Fault("two runs joined, header between", ("clock-starts-over",), joined("with its header")),
    Fault("two runs joined, time goes on", ("starts-again",), joined("goes on")),
    # one that stops at its largest value cannot be told from one at its end
    *(Fault(f"{c} stops", ("channel-stops", "saturated"), stops(c), c)
      for c in ("thrust", "torque", "current", "voltage", "speed")),
    Fault("supply sags at the start", ("supply-sags",), sags, "voltage"),
    Fault("gap", ("gap",), gap),
    Fault("uneven sampling", ("uneven-sampling",), uneven),
    Fault("pole count 14 for 12", EVERYWHERE, scaled("speed", 12 / 14), "speed", True),
    Fault("pole count 12 for 14", EVERYWHERE, scaled("speed", 14 / 12), "speed", True),
    Fault("pole pairs for poles, or the reverse", EVERYWHERE, scaled("speed", (2.0, 0.5)), "speed", True),
    Fault("electrical speed", EVERYWHERE, scaled("speed", 7.0), "speed", True),
    Fault("pole count in one run only", ("speeds-contradict", "pole-count"),
          scaled("speed", (12 / 14, 14 / 12, 2.0, 0.5), "steps"), "speed", True),
    Fault("current in mA taken for A", ("unit-slip",), scaled("current", 1000.0), "current", True),
    Fault("current in A taken for mA", ("unit-slip",), scaled("current", 0.001), "current", True),
    Fault("current x 1000 in the no-load run", ("unit-slip",),
          scaled("current", 1000.0, "no-load"), "current"),
    Fault("current / 1000 in the spin-up", ("unit-slip",), scaled("current", 0.001, "spin-up"), "current"),
    Fault("voltage in mV taken for V", ("unit-slip",), scaled("voltage", 1000.0), "voltage", True),
    Fault("thrust in gf taken for N", ("thrust-coefficient", "figure-of-merit"),
          scaled("thrust", 1 / 0.00980665), "thrust", True),
    Fault("thrust in N taken for gf", ("thrust-coefficient", "figure-of-merit"),
          scaled("thrust", 0.00980665), "thrust", True),
    Fault("thrust in kgf taken for N", ("thrust-coefficient", "figure-of-merit"),
          scaled("thrust", 1 / 9.80665), "thrust", True),
    Fault("torque off by 1000, 100 or 48",
          ("torque-coefficient", "power-out-above-power-in", "figure-of-merit"),
          scaled("torque", (1000.0, 0.001, 100.0, 0.01, 48.0, 1 / 48)), "torque", True),
    Fault("comment line", ("comment-lines",), _insert("# remark")),
    Fault("blank line", ("blank-lines",), _insert("")),
    Fault("header again", ("repeated-header",), _insert("HEADER")),
    Fault("line of text", ("text-line",), _insert("motor stopped by hand")),
    Fault("empty cell", ("missing-cells",), _cell("")),
    Fault("NaN cell", ("missing-cells",), _cell("NaN")),
    Fault("text in a cell", ("not-a-number",), _cell("OL")),
    Fault("a row with fewer cells", ("short-row",), lines(_short)),
    Fault("a row with more cells", ("long-row",), lines(_long)),
    Fault("a row twice", ("repeated-rows",), lines(_twice)),
    Fault("a stamp twice", ("repeated-stamps",), lines(_stamp)),
    Fault("stamps out of order", ("backward-time",), lines(_backward)),
    Fault("last line cut", ("cut-last-line",), lines(_cut)),
    Fault("first line cut", ("cut-first-line",), lines(_first_cut)),
)  # fmt: skip
