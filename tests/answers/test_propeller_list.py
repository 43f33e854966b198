from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.propeller_list import list_propellers, summary_of
from motorfit.answers.propeller_search import find_propeller
from motorfit.answers.propeller_tested import library_propellers, propellers_tested_in
from motorfit.archive.store import load_fit, save_fit
from tests.answers.standin import make_fit
from tests.archive.factory import StandInResult
from tests.cli.conftest import stand_in_posteriors


def test_a_summary_says_what_was_learned_and_where() -> None:
    fit = replace(make_fit(), fit_id="2027-spring-1", attributes={"campaign": "spring", "bench": "north"})
    first = propellers_tested_in(fit)[0]
    body = summary_of(first).to_json()
    assert (body["propeller"], body["campaign_fit"], body["bench"]) == ("p7x35x3", "2027-spring", "north")
    assert (body["diameter_in"], body["blades"], body["reference_rpm"]) == (pytest.approx(7.0), 3, 15_000.0)
    assert "thrust_coefficient" in body["learned"]
    thrust = body["estimates"]["thrust_coefficient"]
    low, middle, high = np.quantile(first.thrust, (0.05, 0.5, 0.95))
    assert (thrust["low"], thrust["median"], thrust["high"]) == pytest.approx((low, middle, high))
    json.dumps(body, allow_nan=False)


def test_a_library_without_fits_has_none(tmp_path: Path) -> None:
    assert list_propellers(tmp_path) == []
    with pytest.raises(AnswerError, match="probability"):
        list_propellers(tmp_path, 2.0)


def test_a_library_is_read_once_a_campaign(tmp_path: Path) -> None:
    """Two fits of one campaign: the later counts; its motors do not list their propellers twice."""
    result: Any = StandInResult(None, stand_in_posteriors())
    save_fit(tmp_path, result)
    stored = save_fit(tmp_path, result)
    assert [p.name for p in library_propellers(tmp_path)] == ["p7x35x3", "p6x4x3"]
    assert {p.campaign_fit for p in library_propellers(tmp_path)} == {stored[0].campaign_fit}
    assert [s.propeller for s in list_propellers(tmp_path)] == ["p6x4x3", "p7x35x3"]
    fit = load_fit(tmp_path, stored[0].motor)
    assert library_propellers(tmp_path, fit) == ()


def test_a_fit_finds_its_own_first(tmp_path: Path) -> None:
    fit = make_fit()
    assert find_propeller(fit, "p7x35x3", tmp_path).origin == "fit"
    assert find_propeller(fit, "8x4x2", tmp_path).origin == "geometry"
