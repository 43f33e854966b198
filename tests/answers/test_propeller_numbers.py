"""The shipped numbers are those that the published facts make, and the facts are plausible."""

from __future__ import annotations

import csv
import math
import re

import numpy as np
import pytest

from benchmarks.propeller_geometry import fitted, shipped
from benchmarks.propeller_readings import FACTS
from motorfit.answers.propeller_numbers import OWN_COVARIANCE, PRIOR_COVARIANCE, PRIOR_MEAN


def test_facts_are_numbers_and_numbered_families() -> None:
    with FACTS.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert len({line["propeller"] for line in lines}) == 93
    for line in lines:
        assert re.fullmatch(r"w\d\d", line["propeller"])
        assert re.fullmatch(r"f\d\d", line["family"])
        assert 3.0 < float(line["diameter_in"]) < 16.0
        assert 2 <= int(line["blades"]) <= 4
        thrust, power = float(line["thrust_coefficient"]), float(line["power_coefficient"])
        assert 0.25 < math.sqrt(2 / math.pi) * thrust**1.5 / power < 0.85


@pytest.mark.slow
def test_the_shipped_numbers_are_made_of_the_facts() -> None:
    """To a tenth of a standard deviation: on another machine a search may end in other last digits."""
    model = shipped(*fitted())
    sd = np.sqrt(np.diag(PRIOR_COVARIANCE))
    assert np.all(np.abs(model.mean - PRIOR_MEAN) < 0.1 * sd)
    np.testing.assert_allclose(np.sqrt(np.diag(model.covariance)), sd, rtol=0.05)
    np.testing.assert_allclose(np.diag(model.own), np.diag(OWN_COVARIANCE), rtol=0.1)
    assert np.linalg.eigvalsh(PRIOR_COVARIANCE).min() > 0.0
