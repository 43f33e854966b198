"""The steps that `fit` and `demo` share: read, refuse what is at fault, fit, store."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from motorfit.cli.output import progress_of, say

if TYPE_CHECKING:
    from motorfit.archive.stored import StoredFit
    from motorfit.bench.findings import Finding
    from motorfit.bench.logs import RunLog
    from motorfit.bench.models import Campaign
    from motorfit.inference.result import FitResult


def fit_and_store(
    campaign_file: Path, library: Path, *, method: str, seed: int, draws: int
) -> tuple[FitResult, tuple[StoredFit, ...], tuple[Finding, ...]]:
    """Fit a campaign and store the posteriors of all its motors, or nothing.

    Returns the result, what was stored, and the warnings of the check.

    Raises
    ------
    MotorfitError
        The campaign file or a log is at fault, the fit cannot be made, or the library cannot be written.
    """
    campaign, logs, found = read_checked(campaign_file)

    # Only now the slow imports: input at fault is answered without them.
    from motorfit.archive.store import check_writable, save_fit
    from motorfit.inference.fit import fit_campaign

    # Before the long work, not after it: a folder that cannot be written is the input's fault too.
    check_writable(library)
    with progress_of(campaign.title) as report:
        result = fit_campaign(campaign, logs, method=method, seed=seed, draws=draws, progress=report)
    return result, save_fit(library, result), tuple(f for f in found if f.severity == "warning")


def read_checked(campaign_file: Path) -> tuple[Campaign, tuple[RunLog, ...], tuple[Finding, ...]]:
    """Read a campaign and its logs, with what the check found.

    Raises
    ------
    MotorfitError
        The campaign file or a log is at fault.
    """
    from motorfit.bench.campaign import load_campaign
    from motorfit.bench.check import check_campaign
    from motorfit.bench.findings import LogError
    from motorfit.bench.logs import try_read_runs

    campaign = load_campaign(campaign_file)
    logs, found = try_read_runs(campaign)
    check = check_campaign(campaign, logs, found)
    if check.errors:
        raise LogError(check.errors)
    return campaign, logs, check.findings


def tell_warnings(warnings: tuple[Finding, ...]) -> None:
    """List the warnings of a check on standard error."""
    for finding in warnings:
        say(f"warning: {finding}")
