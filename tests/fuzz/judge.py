"""What must hold of any damaged campaign: an answer or one message, and nothing lost without a word."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from motorfit.bench.campaign import load_campaign
from motorfit.bench.check import check_campaign
from motorfit.bench.logs import RunLog, try_read_runs
from motorfit.errors import MotorfitError

QUIET = frozenset({"preamble", "comment-lines", "blank-lines", "assumed-unit", "columns-left-out"})


def judge(campaign_file: Path, clean_rows: int | None = None) -> str:
    """Load, read and check a campaign; what came of it, "refused" or "read".

    Raises AssertionError where a run is neither read nor refused with a reason, where fewer than `clean_rows`
    rows came out of its first log without a finding that says so, or where a finding says too little.
    Whatever else is raised is a fault too, but for the project's own errors.
    """
    try:
        campaign = load_campaign(campaign_file)
    except MotorfitError as error:
        assert str(error).strip()
        return "refused"
    logs, findings = try_read_runs(campaign)
    report = check_campaign(campaign, logs, findings)
    json.dumps(report.to_json(), allow_nan=False)
    for finding in report.findings:
        assert finding.message.strip() and finding.remedy.strip(), finding
    read = {log.run.id for log in logs}
    for run in campaign.runs:
        said = [f for f in report.findings if f.run == run.id]
        assert run.id in read or any(f.severity == "error" for f in said), f"{run.id} vanished"
    for log in logs:
        _sound(log)
        told = [f for f in log.findings if f.kind not in QUIET]
        if clean_rows is not None and log.run.id == campaign.runs[0].id and not told:
            assert _rows(log) >= clean_rows, f"{clean_rows - _rows(log)} rows vanished without a word"
    return "read" if read else "refused"


def _rows(log: RunLog) -> int:
    return len(next(iter(log.channels.values())))


def _sound(log: RunLog) -> None:
    assert log.channels
    for name, values in log.channels.items():
        assert values.dtype == np.float64 and not np.isinf(values).any(), name
        assert len(values) == _rows(log)
    if log.time_s is not None:
        assert len(log.time_s) == _rows(log) and np.all(np.diff(log.time_s) > 0)
    assert log.rows is not None and len(log.rows) == _rows(log)
