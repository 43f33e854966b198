"""One job of the service, in a process of its own: ``python -m motorfit.cli.job FOLDER``.

Parses what a stranger may have uploaded, so it first binds itself: memory, no core files, lowest priority,
and it ends when who started it ends. Progress goes to standard output, a line of JSON each; what came of it
into ``result.json`` or ``problem.json``.
"""

from __future__ import annotations

import json
import os
import re
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from motorfit.archive.space import NO_SPACE, is_full
from motorfit.errors import MotorfitError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motorfit.archive.stored import StoredFit
    from motorfit.bench.campaign import Campaign
    from motorfit.bench.check import CheckReport
    from motorfit.bench.logs import RunLog

DONE, REFUSED = 0, 1
_MOST_POINTS = 800  # of a raw curve: a screen has no more columns to show them


def main(folder: Path) -> int:
    """Do the job whose folder is given; returns the exit code."""
    order = json.loads((folder / "order.json").read_text(encoding="utf-8"))
    _bind(int(order["limits"]["memory_bytes"]))
    try:
        return _work(folder, order)
    except (OSError, MotorfitError) as error:
        if is_full(error, folder, Path(order["library"])):
            return NO_SPACE
        raise


def _work(folder: Path, order: dict[str, Any]) -> int:
    try:
        result = {"check": _check, "fit": _fit, "holdout": _holdout}[order["kind"]](folder, order)
    except MotorfitError as error:
        if is_full(error, folder, Path(order["library"])):
            raise
        _write(folder, "problem.json", _problem(error))
        return REFUSED
    except MemoryError:
        _write(folder, "problem.json", _too_much(order))
        return REFUSED
    _write(folder, "result.json", result)
    return DONE


def _check(folder: Path, order: dict[str, Any]) -> dict[str, Any]:
    """Return what `check --json` prints, and keep the raw curves, thinned, beside it."""
    from motorfit.bench.campaign import load_campaign
    from motorfit.bench.check import check_campaign
    from motorfit.bench.faults import CampaignError
    from motorfit.cli.unpack import lay_out

    _tell("unpacking", 0.0)
    path = lay_out(folder, folder / "work", order["limits"])
    try:
        campaign = load_campaign(path)
    except CampaignError as error:
        return {"campaign": path.name, "ok": False, "faults": _faults(error)}
    _tell("reading logs", 0.1)
    logs, found = _logs(campaign, order)
    _tell("checking", 0.6)
    report = check_campaign(campaign, logs, found)
    _tell("thinning curves", 0.9)
    shown = [_curves(log) for log in _to_show(campaign, logs, int(order["limits"]["rows"]))]
    _write(folder, "curves.json", {"runs": shown})
    return {"campaign": campaign.title, "ok": not report.errors, "faults": [], **report.to_json()}


def _fit(folder: Path, order: dict[str, Any]) -> dict[str, Any]:
    """Return what `fit --json` prints, but for the library's place on this machine."""
    library, options = Path(order["library"]), order["options"]
    campaign, logs, check = _read(folder, order)
    stored: tuple[StoredFit, ...] = ()
    if order["attempt"] > 1:
        stored = _already_stored(library, campaign, logs, order)
    if not stored:
        from motorfit.archive.store import check_writable, save_fit
        from motorfit.inference.fit import fit_campaign

        check_writable(library)
        result = fit_campaign(
            campaign,
            logs,
            method=options["method"],
            seed=options["seed"],
            draws=options["draws"],
            progress=_tell,
        )
        _tell("storing", 0.97)
        stored = save_fit(library, result)
    from motorfit.answers.show import summarise
    from motorfit.archive.store import load_fit

    return {
        "fits": [one.to_json() for one in stored],
        "motors": [summarise(load_fit(library, one.motor, one.fit_id)).to_json() for one in stored],
        "warnings": [str(finding) for finding in check.findings if finding.severity == "warning"],
    }


def _holdout(folder: Path, order: dict[str, Any]) -> dict[str, Any]:
    """Return what `holdout --json` prints."""
    from motorfit.answers.holdout import holdout

    campaign, logs, _ = _read(folder, order)
    options = order["options"]
    return holdout(
        campaign,
        logs,
        run=options["run"],
        leave=options["leave"],
        method=options["method"],
        seed=options["seed"],
        draws=options["draws"],
        progress=_tell,
    ).to_json()


def _read(folder: Path, order: dict[str, Any]) -> tuple[Campaign, tuple[RunLog, ...], CheckReport]:
    """Read and check an upload; what would stop a fit is raised."""
    from motorfit.bench.campaign import load_campaign
    from motorfit.bench.check import check_campaign
    from motorfit.bench.findings import LogError
    from motorfit.cli.unpack import lay_out

    _tell("unpacking", 0.0)
    campaign = load_campaign(lay_out(folder, folder / "work", order["limits"]))
    _tell("reading logs", 0.02)
    logs, found = _logs(campaign, order)
    check = check_campaign(campaign, logs, found)
    if check.errors:
        raise LogError(check.errors)
    return campaign, logs, check


def _already_stored(
    library: Path, campaign: Campaign, logs: Sequence[RunLog], order: dict[str, Any]
) -> tuple[StoredFit, ...]:
    """Return what an earlier attempt stored before it was killed: the same inputs, since it began."""
    from motorfit.archive import netcdf, text
    from motorfit.archive.store import list_fits

    begun = datetime.fromtimestamp(order["created"], UTC).strftime("%Y%m%dT%H%M%S")
    sums = {campaign.path.name: campaign.sha256} | {log.run.file.name: log.sha256 for log in logs}
    found: dict[str, list[StoredFit]] = {}
    for motor in campaign.motors:
        for fit in list_fits(library, motor.id):
            if fit.problem is not None or fit.fit_id < begun:
                continue
            facts = text.from_attributes(netcdf.read_attributes(fit.path))
            if facts.get("inputs_sha256") == sums and facts.get("seed") == order["options"]["seed"]:
                found.setdefault(fit.campaign_fit, []).append(fit)
    return tuple(found[max(found)]) if found else ()


def _logs(campaign: Campaign, order: dict[str, Any]) -> tuple[tuple[RunLog, ...], Any]:
    from motorfit.bench.logs import try_read_runs

    logs, found = try_read_runs(campaign)
    most = int(order["limits"]["rows"])
    for log in logs:
        rows = max((len(values) for values in log.channels.values()), default=0)
        if rows > most:
            raise MotorfitError(f"run {log.run.id}: {rows} rows; at most {most} are taken. Thin the log.")
    return logs, found


def _to_show(campaign: Campaign, logs: Sequence[RunLog], most_rows: int) -> list[RunLog]:
    """Return the logs in the campaign's order, those that reading refused as they lie in their files."""
    from motorfit.bench.logs import as_it_lies

    read = {log.run.id: log for log in logs}
    shown = [read.get(run.id) or as_it_lies(campaign, run) for run in campaign.runs]
    return [
        log
        for log in shown
        if log is not None and all(len(values) <= most_rows for values in log.channels.values())
    ]


def _curves(log: RunLog) -> dict[str, Any]:
    from motorfit.archive.text import plain
    from motorfit.bench.thin import kept_rows
    from motorfit.quantities import CHANNELS

    channels = {}
    for name, values in log.channels.items():
        rows = kept_rows(log.time_s, values, _MOST_POINTS)
        channels[name] = {
            "unit": CHANNELS[name].unit if name in CHANNELS else "",
            "row": rows.tolist(),
            "line": None if log.rows is None else log.rows[rows].tolist(),
            "time_s": None if log.time_s is None else plain(log.time_s[rows]),
            "value": plain(values[rows]),
            "rows_held": len(values),
        }
    run = log.run
    return {
        "run": run.id,
        "motor": run.motor,
        "kind": run.kind,
        "propeller": run.propeller,
        "channels": channels,
    }


def _faults(error: Any) -> list[dict[str, Any]]:
    return [
        {"path": f.path, "value": f.value, "allowed": f.allowed, "remedy": f.remedy} for f in error.faults
    ]


def _problem(error: MotorfitError) -> dict[str, Any]:
    from dataclasses import asdict

    from motorfit.bench.faults import CampaignError
    from motorfit.bench.findings import LogError

    told: dict[str, Any] = {"title": "Input at fault", "status": 422, "detail": str(error)}
    if isinstance(error, CampaignError):
        told["faults"] = _faults(error)
    if isinstance(error, LogError):
        told["findings"] = [asdict(finding) for finding in error.findings]
    return told


def _too_much(order: dict[str, Any]) -> dict[str, Any]:
    most = order["limits"]["memory_bytes"]
    detail = f"The upload needs more than the {most} bytes of memory that a job may take. Send smaller logs."
    return {"title": "Too much memory", "status": 422, "detail": detail}


def _write(folder: Path, name: str, document: dict[str, Any]) -> None:
    """Write a document whole or not at all, without the place of this job on this machine."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    places = {str(folder / "work"), str((folder / "work").resolve()), str(folder), str(folder.resolve())}
    for place in sorted(places, key=len, reverse=True):
        text = re.sub(re.escape(json.dumps(place)[1:-1]) + "/?", "", text)
    part = folder / f"{name}.part"
    with part.open("w", encoding="utf-8") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    part.replace(folder / name)


def _tell(stage: str, share: float) -> None:
    sys.stdout.write(json.dumps({"stage": stage, "share": share}) + "\n")
    sys.stdout.flush()


def _bind(memory_bytes: int) -> None:
    threading.Thread(target=_end_with_starter, daemon=True).start()
    if sys.platform != "win32":
        import resource

        os.nice(10)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        most = memory_bytes if hard == resource.RLIM_INFINITY else min(memory_bytes, hard)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))
    if sys.platform == "linux":
        # Also where this process is busy in compiled code when its starter is killed.
        import ctypes
        import signal

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)


def _end_with_starter() -> None:
    # Not by the buffered stream: its lock would be held when this process comes to its own end.
    while os.read(0, 4096):
        pass
    os._exit(3)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
