"""What is wrong with a campaign's logs, what is assumed, and what its runs can and cannot teach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from motorfit.bench.assumptions import assumptions_of
from motorfit.bench.campaign import Campaign
from motorfit.bench.detectors import CAMPAIGN_DETECTORS, RUN_DETECTORS
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog
from motorfit.bench.teaches import Teaching, teachings_of

__all__ = ["CheckReport", "Teaching", "check_campaign"]

_ORDER = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True)
class CheckReport:
    """The outcome of a check.

    Attributes
    ----------
    findings: of reading and of checking, errors first.
    assumptions: sentences, one per thing taken for granted.
    teaches: per parameter of each motor and propeller, which runs teach it, or which run would.
    """

    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    teaches: tuple[Teaching, ...]

    @property
    def errors(self) -> tuple[Finding, ...]:
        """The findings that stop a fit."""
        return tuple(f for f in self.findings if f.severity == "error")

    def to_json(self) -> dict[str, Any]:
        """The report as plain JSON values; times in s, rows from 1."""
        return {
            "findings": [
                asdict(f) | {"rows": None if f.rows is None else list(f.rows)} for f in self.findings
            ],
            "assumptions": list(self.assumptions),
            "teaches": [asdict(t) | {"runs": list(t.runs)} for t in self.teaches],
        }


def check_campaign(
    campaign: Campaign, logs: Sequence[RunLog], read_findings: Sequence[Finding] | None = None
) -> CheckReport:
    """Check a campaign and the logs that could be read.

    `read_findings` are those of `try_read_runs`, to report logs that could not be read as well; left out, the
    findings of the logs themselves are taken.
    """
    found = list(read_findings) if read_findings is not None else [f for log in logs for f in log.findings]
    for log in logs:
        for detect in RUN_DETECTORS:
            found += detect(campaign, log)
    for detect_all in CAMPAIGN_DETECTORS:
        found += detect_all(campaign, logs)
    found.sort(key=lambda f: _ORDER[f.severity])
    return CheckReport(tuple(found), assumptions_of(campaign, logs, found), teachings_of(campaign, logs))
