"""The example on the user's page is a campaign file that loads, and the page names every key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from motorfit.bench import models
from motorfit.bench.campaign import load_campaign

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "campaign.md").read_text(encoding="utf-8")


def test_the_example_loads(tmp_path: Path) -> None:
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    (tmp_path / "logs").mkdir()
    for name in re.findall(r'"(logs/.*?)"', example[1]):
        (tmp_path / name).write_text("-")
    (tmp_path / "campaign.toml").write_text(example[1], encoding="utf-8")
    campaign = load_campaign(tmp_path / "campaign.toml")
    assert len(campaign.runs) == 3 and campaign.assumptions == ()


@pytest.mark.parametrize(
    "part",
    [
        models.Air,
        models.Controller,
        models.ChannelDoubt,
        models.Motor,
        models.Propeller,
        models.Flywheel,
        models.Run,
        models.Where,
        models.Column,
        models.Measurement,
        models.PriorOverride,
    ],
)
def test_every_key_is_on_the_page(part: type[BaseModel]) -> None:
    for key in part.model_fields:
        assert re.search(rf"\b{key}\b", PAGE), key
