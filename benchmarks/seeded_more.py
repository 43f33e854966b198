"""Further faults to seed: smaller ones, other channels, exchanged columns, clocks in another unit."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from benchmarks.seeded_faults import NAMES, Fault, Logs, Seeder, Table, one, scaled

__all__ = ["MORE_FAULTS"]

SLIP = ("unit-slip",)
SHAPE = ("thrust-coefficient", "figure-of-merit")
TORQUE = ("torque-coefficient", "power-out-above-power-in", "figure-of-merit")


def late(channel: str, seconds: tuple[float, float], *kinds: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        shift = float(rng.uniform(*seconds))
        changed = {}
        for name, text in texts.items():
            table = Table.of(text)
            if NAMES[channel] in table.names and (not kinds or any(f"-{k}" in name for k in kinds)):
                at = table["time"]
                table[channel] = np.interp(at - shift, at, table[channel])
                changed[name] = table.bytes()
        return Logs(changed, detail=f"{1e3 * shift:.0f} ms")

    return seed


def clipped(channel: str) -> Seeder:
    """Only the tops are cut off, so that plateaus are short."""

    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, str(rng.choice(["ramp", "steps"])))
        top = float(rng.uniform(0.9, 0.97)) * float(np.percentile(table[channel], 99.5))
        table[channel] = np.minimum(table[channel], top)
        return Logs({name: table.bytes()}, detail=f"at {top:.3g} in {name}")

    return seed


def moved(channel: str, sds: float) -> Seeder:
    """A zero moved by so many standard deviations of the channel's noise at rest."""

    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, str(rng.choice(["ramp", "steps"])))
        rest = table[channel][table["time"] < 0.25]
        table[channel] = table[channel] + sds * float(rest.std()) * float(rng.choice([-1, 1]))
        return Logs({name: table.bytes()}, detail=f"{sds * rest.std():.4f} of {table[channel].max():.3f}")

    return seed


def spiked(channel: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, str(rng.choice(["ramp", "steps"])))
        at = rng.choice(np.arange(300, len(table.values) - 100), 3, replace=False)
        values = table[channel].copy()
        values[at] += rng.choice([-1, 1], 3) * rng.uniform(0.4, 2.0, 3) * values.max()
        table[channel] = values
        return Logs({name: table.bytes()}, detail=f"at {at}")

    return seed


def dropped(channel: str) -> Seeder:
    """Zeros for 4 ms to half a second while the motor turns."""

    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        name, table = one(texts, "ramp")
        rows = int(rng.integers(2, 250))
        fast = np.flatnonzero(table["speed"][: -rows - 5] > 0.5 * table["speed"].max())
        first = int(rng.choice(fast))
        values = table[channel].copy()
        values[first : first + rows] = 0.0
        table[channel] = values
        at = table["time"]
        return Logs({name: table.bytes()}, float(at[first]), float(at[first + rows - 1]), f"{rows} rows")

    return seed


def exchanged(one_channel: str, other: str) -> Seeder:
    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        changed = {}
        for name, text in texts.items():
            table = Table.of(text)
            if {NAMES[one_channel], NAMES[other]} <= set(table.names):
                a, b = table[one_channel].copy(), table[other].copy()
                table[one_channel], table[other] = b, a
                table.formats = ["%.7g"] * len(table.formats)
                changed[name] = table.bytes()
        return Logs(changed)

    return seed


def unknown(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    """A stretch of NaN in one channel."""
    name, table = one(texts, "ramp")
    first = int(rng.integers(100, len(table.values) - 600))
    values = table["thrust"].copy()
    values[first : first + 200] = np.nan
    table["thrust"] = values
    return Logs({name: table.bytes()})


def reordered(how: str) -> Seeder:
    """Rows that some program sorted by another column, wrote from the end on, or put together wrongly."""

    def seed(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
        kind = rng.choice(["ramp", "steps", "spin-up"])
        name = next(n for n in texts if f"-{kind}" in n)
        header, *body = texts[name].splitlines()
        at = np.arange(len(body))
        if how == "shuffled":
            at = rng.permutation(at)
        elif how == "turned about":
            at = at[::-1]
        else:
            a, b, c = np.sort(rng.choice(np.arange(100, len(body) - 100, 60), 3, replace=False))
            at = np.concatenate([at[:a], at[b:c], at[a:b], at[c:]])
        return Logs({name: "\n".join([header, *(body[i] for i in at), ""]).encode()}, detail=name)

    return seed


def stretch_twice(rng: np.random.Generator, texts: Mapping[str, str]) -> Logs:
    """20 ms to two seconds of a log written out a second time, at once or some rows later."""
    kind = rng.choice(["ramp", "steps", "spin-up"])
    name = next(n for n in texts if f"-{kind}" in n)
    header, *body = texts[name].splitlines()
    size = int(rng.integers(10, 1000))
    first = int(rng.integers(20, len(body) - size - 60))
    end = first + size
    at = end + int(rng.choice([0, 0, 50]))
    again = "\n".join([header, *body[:at], *body[first:end], *body[at:], ""])
    return Logs({name: again.encode()}, detail=f"{size} rows of {name}")


MORE_FAULTS = (
    *(Fault(f"{c} late by 100 to 500 ms", ("late-channel",), late(c, (0.1, 0.5)), c, whole_bench=True)
      for c in ("thrust", "torque", "current", "voltage", "speed")),
    *(Fault(f"{c} late by 20 to 100 ms in one run", ("late-channel",), late(c, (0.02, 0.1), "steps"), c)
      for c in ("thrust", "torque", "current")),
    *(Fault(f"tops of {c} cut off", ("saturated",), clipped(c), c) for c in ("thrust", "torque", "current")),
    *(Fault(f"tare of {c} moved by {n:.0f} sd of its noise", ("tare-moved",), moved(c, n), c, True)
      for c in ("thrust", "torque") for n in (3.0, 10.0)),
    *(Fault(f"spikes of {c}", ("spikes",), spiked(c), c) for c in ("thrust", "torque", "current", "voltage")),
    *(Fault(f"{c} drops to zero", ("dropout", "spikes"), dropped(c), c)
      for c in ("thrust", "torque", "current", "voltage")),
    Fault("voltage and current exchanged", ("swapped-columns",),
          exchanged("voltage", "current"), None, True),
    Fault("thrust and torque exchanged", (*SHAPE, *TORQUE), exchanged("thrust", "torque"), None, True),
    Fault("throttle and voltage exchanged", ("swapped-columns", "wrong-unit", "throttle-beyond"),
          exchanged("throttle", "voltage"), None, True),
    Fault("time in ms taken for s", SLIP, scaled("time", 1000.0), None, True),
    Fault("time in us taken for s", SLIP, scaled("time", 1e6), None, True),
    Fault("time in s taken for ms", SLIP, scaled("time", 0.001), None, True),
    Fault("voltage in V taken for mV", SLIP, scaled("voltage", 0.001), "voltage", True),
    Fault("thrust in mN taken for N", SHAPE, scaled("thrust", 1000.0), "thrust", True),
    Fault("thrust in ozf taken for N", SHAPE, scaled("thrust", 1 / 0.278), "thrust", True),
    Fault("torque in mN m taken for N m", TORQUE, scaled("torque", 1000.0), "torque", True),
    Fault("torque in kgf cm taken for N m", TORQUE, scaled("torque", 1 / 0.0980665), "torque", True),
    Fault("torque in gf cm taken for N m", TORQUE, scaled("torque", 1 / 9.80665e-5), "torque", True),
    Fault("torque in N m taken for ozf in", TORQUE, scaled("torque", 0.00706155), "torque", True),
    Fault("speed in rad/s taken for rpm", ("pole-count", *SHAPE, *TORQUE),
          scaled("speed", 0.10472), None, True),
    Fault("speed in rev/s taken for rpm", ("pole-count", *SHAPE, *TORQUE),
          scaled("speed", 1 / 60), None, True),
    Fault("speed behind a gearbox of 2.5 to 6", ("pole-count",),
          scaled("speed", (1 / 2.5, 1 / 3.0, 1 / 4.3, 1 / 6.0)), None, True),
    *(Fault(f"rows {how}", ("rows-sorted",), reordered(how))
      for how in ("shuffled", "turned about", "exchanged in blocks")),
    Fault("a stretch of rows twice", ("repeated-rows",), stretch_twice),
    *(Fault(f"sign of current in the {kind}", ("sign",), scaled("current", -1.0, kind), "current")
      for kind in ("no-load", "spin-up", "steps")),
    Fault("200 NaN in thrust", ("missing-cells",), unknown, "thrust"),
)  # fmt: skip
