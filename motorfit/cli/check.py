"""`motorfit check`: what is wrong with the logs, what is assumed, what the runs can teach."""

from __future__ import annotations

from motorfit.cli.options import AsJson, CampaignFile


def check(campaign: CampaignFile, as_json: AsJson = False) -> None:
    """Check a campaign's file and logs, no fit.

    What is wrong, what is assumed, and what the runs can and cannot teach.

    \b
    Example:  motorfit check campaign.toml
              motorfit check campaign.toml --json
    """
    raise NotImplementedError
