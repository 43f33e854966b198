"""How many answers a second the service gives, and how long they take; see benchmarks/README.md."""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.common import machine, note
from tests.api.test_jobs import MEASURED

COMMAND = "import sys; from motorfit.cli import main; main()"
_PARTS = 10
POINTS = [round(0.02 * k, 4) for k in range(1, 51)]

Ask = Callable[[int], Awaitable[int]]


class Wire:
    """One kept connection, written and read by hand: a client library would cost as much as the service."""

    def __init__(self, port: int) -> None:
        self.port = port

    async def open(self) -> None:
        self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)

    async def ask(
        self, method: str, path: str, body: bytes = b"", headers: str = ""
    ) -> tuple[int, str, bytes]:
        head = f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {len(body)}\r\n{headers}\r\n"
        self.writer.write(head.encode() + body)
        told = (await self.reader.readuntil(b"\r\n\r\n")).decode()
        length = 0
        for line in told.split("\r\n"):
            if line.lower().startswith("content-length:"):
                length = int(line.split(":")[1])
        content = await self.reader.readexactly(length) if length else b""
        return int(told.split(" ", 2)[1]), told, content


async def load(
    port: int, root: int, name: str, seconds: float, wires: int, rate: float | None, make: Any
) -> dict[str, Any]:
    """Keep ``wires`` connections asking; with a rate, at fixed times whatever the answers take."""
    latencies: list[float] = []
    wrong: list[int] = []
    begun, before = time.perf_counter(), cpu_s(root)
    count = 0

    async def one() -> None:
        nonlocal count
        wire = Wire(port)
        await wire.open()
        while time.perf_counter() - begun < seconds:
            number, count = count, count + 1
            due = begun + number / rate if rate else time.perf_counter()
            await asyncio.sleep(max(0.0, due - time.perf_counter()))
            start = due if rate else time.perf_counter()
            method, path, body, headers, expected = make(number)
            status, _, _ = await wire.ask(method, path, body, headers)
            latencies.append(time.perf_counter() - start)
            if status != expected:
                wrong.append(status)
        wire.writer.close()

    await asyncio.gather(*(one() for _ in range(wires)))
    spent = time.perf_counter() - begun
    p50, p99 = (1e3 * float(q) for q in np.quantile(latencies, (0.5, 0.99)))
    each = 1e3 * (cpu_s(root) - before) / len(latencies)
    found = {
        "load": name,
        "cpu_ms": each,
        "per_s": len(latencies) / spent,
        "p50_ms": p50,
        "p99_ms": p99,
        "wrong": len(wrong),
    }
    times = f"p50 {p50:7.1f} ms   p99 {p99:7.1f} ms   cpu {each:6.2f} ms"
    print(f"{name:<34} {found['per_s']:8.0f}/s   {times}   wrong {len(wrong)}")
    return found


def memory_mb(root: int) -> float:
    """Resident memory of a service without the processes of its jobs, which come and go."""
    pages = 0
    for pid in tree(root):
        try:
            if b"motorfit.cli.job" not in Path(f"/proc/{pid}/cmdline").read_bytes():
                pages += int(Path(f"/proc/{pid}/statm").read_text().split()[1])
        except OSError:  # it has ended meanwhile
            continue
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def cpu_s(root: int) -> float:
    """Processor time spent by a process and those under it, whatever else the machine does."""
    ticks = 0
    for pid in tree(root):
        try:
            fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def tree(root: int) -> list[int]:
    """A process and all under it."""
    found, pending = [], [root]
    while pending:
        pid = pending.pop()
        found.append(pid)
        try:
            for task in Path(f"/proc/{pid}/task").iterdir():
                pending += [int(child) for child in (task / "children").read_text().split()]
        except OSError:
            continue
    return found


async def measure(port: int, root: int, options: argparse.Namespace) -> list[dict[str, Any]]:
    wire = Wire(port)
    for _ in range(600):
        try:
            await wire.open()
            status, _, _ = await wire.ask("GET", "/healthz")
            if status == 200:
                break
        except OSError:
            pass
        await asyncio.sleep(0.1)
    _, _, content = await wire.ask("GET", "/v1/motors")
    motor = json.loads(content)["motors"][0]
    _, _, content = await wire.ask("GET", f"/v1/fits/{motor['latest']}")
    facts = json.loads(content)
    propeller = facts["propellers"][0] if facts["propellers"] else "7x4x2"
    json_type = "Content-Type: application/json\r\n"

    fresh = iter(range(10**9))

    def question(number: int | None = None) -> bytes:
        number = next(fresh) if number is None else number
        asked = {"motor": motor["motor"], "propeller": propeller, "throttle": POINTS}
        return json.dumps(asked | {"voltage": 14.0 + 1e-6 * number}).encode()

    def prediction(number: int) -> tuple[str, str, bytes, str, int]:
        return "POST", "/v1/predictions", question(), json_type, 200

    await asyncio.gather(*(wire_ask(port, prediction(k)) for k in range(8)))
    _, told, _ = await wire.ask("POST", "/v1/predictions", question(0), json_type)
    tag = next(line.split(": ", 1)[1] for line in told.split("\r\n") if line.lower().startswith("etag"))
    _, told, _ = await wire.ask("GET", f"/v1/motors/{motor['motor']}")
    shown = next(line.split(": ", 1)[1] for line in told.split("\r\n") if line.lower().startswith("etag"))
    seconds = options.seconds
    rows = []
    print(f"{facts['draws']} draws, {len(POINTS)} points, every question a new one")
    for wires in (2, 4, 8):
        rows.append(await load(port, root, f"predictions, {wires} at once", seconds, wires, None, prediction))
    if options.rate:
        rows.append(
            await load(port, root, f"predictions, {options.rate:g}/s", seconds, 64, options.rate, prediction)
        )
    same = ("POST", "/v1/predictions", question(0), f"{json_type}If-None-Match: {tag}\r\n", 304)
    rows.append(await load(port, root, "predictions, unchanged (304)", seconds, 8, None, lambda _: same))
    held = ("GET", f"/v1/motors/{motor['motor']}", b"", f"If-None-Match: {shown}\r\n", 304)
    rows.append(await load(port, root, "a motor, unchanged (304)", seconds, 8, None, lambda _: held))
    motors = ("GET", f"/v1/motors/{motor['motor']}", b"", "", 200)
    rows.append(await load(port, root, "a motor", seconds, 8, None, lambda _: motors))
    if options.mixed:
        fit = motor["latest"]
        kinds = [
            prediction,
            lambda _: ("GET", f"/v1/fits/{fit}/posterior?draws=500&format=csv", b"", "", 200),
            lambda _: ("GET", f"/v1/fits/{fit}/runs", b"", "", 200),
            lambda _: motors,
            lambda _: held,
            lambda _: ("GET", "/metrics", b"", "", 200),
            lambda _: ("GET", "/v1/motors/none", b"", "", 404),
        ]
        before = memory_mb(root)
        fits = asyncio.create_task(fitting(port, options.every))
        for part in range(_PARTS):
            rows.append(
                await load(
                    port, root, "mixed", options.mixed / _PARTS, 6, None, lambda k: kinds[k % len(kinds)](k)
                )
            )
            rows[-1]["memory_mb"] = memory_mb(root)
            here = f"part {part + 1} of {_PARTS}"
            print(f"    memory {rows[-1]['memory_mb']:.0f} MB (before {before:.0f})", here, flush=True)
        fits.cancel()
        rows.append({"load": "uploads", **await uploaded(port)})
        print("    uploads", {k: v for k, v in rows[-1].items() if k != "load"})
    return rows


async def fitting(port: int, every_s: float) -> None:
    """Upload a small campaign again and again, each to be fitted."""
    for number in range(10**6):
        fields = {"method": "fast", "draws": "400", "seed": str(number)}
        parts = [f'name="{name}"\r\n\r\n{value}' for name, value in fields.items()]
        parts.append(f'name="campaign"; filename="c.toml"\r\n\r\n{MEASURED}')
        body = "".join(f"--x\r\nContent-Disposition: form-data; {p}\r\n" for p in parts) + "--x--\r\n"
        kind = "Content-Type: multipart/form-data; boundary=x\r\n"
        await wire_ask(port, ("POST", "/v1/campaigns", body.encode(), kind, 202))
        await asyncio.sleep(every_s)


async def uploaded(port: int) -> dict[str, int]:
    """How many jobs there are by state."""
    wire = Wire(port)
    await wire.open()
    _, _, content = await wire.ask("GET", "/v1/jobs?limit=500")
    wire.writer.close()
    states = [job["state"] for job in json.loads(content)["jobs"]]
    return {state: states.count(state) for state in dict.fromkeys(states)}


async def wire_ask(port: int, asked: tuple[str, str, bytes, str, int]) -> None:
    wire = Wire(port)
    await wire.open()
    await wire.ask(*asked[:4])
    wire.writer.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("library", type=Path, help="a library with at least one fit")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seconds", type=float, default=5.0, help="of each load")
    parser.add_argument("--rate", type=float, default=200.0, help="predictions a second, sent at fixed times")
    parser.add_argument("--mixed", type=float, default=0.0, help="seconds of mixed load, with memory")
    parser.add_argument("--every", type=float, default=10.0, help="seconds between uploads in it")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as state:
        library = options.library
        if options.mixed:  # what is uploaded is fitted into a copy
            library = shutil.copytree(library, Path(state) / "library")
        arguments = ["serve", "--library", library, "--port", port, "--processes", options.processes]
        arguments += ["--workers", 1 if options.mixed else 0]
        command = [sys.executable, "-c", COMMAND, *map(str, arguments), "--state", state]
        note(f"{machine()}")
        with subprocess.Popen(command, stderr=subprocess.DEVNULL) as service:
            try:
                rows = asyncio.run(measure(port, service.pid, options))
            finally:
                service.send_signal(signal.SIGINT)
    if options.json is not None:
        options.json.write_text(json.dumps({"machine": machine(), "rows": rows}, indent=2))


if __name__ == "__main__":
    main()
