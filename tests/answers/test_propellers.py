from __future__ import annotations

import math

import numpy as np
import pytest

from motorfit.answers.propellers import load_of, propeller_draws
from tests.answers.standin import make_fit


def test_geometry_draws_follow_the_beliefs() -> None:
    made = propeller_draws(make_fit(), "7x4.5x2")
    assert made.origin == "geometry"
    assert made.diameter_m == pytest.approx(0.1778)
    assert np.median(made.thrust) == pytest.approx(0.11, rel=0.03)
    assert np.std(np.log(made.thrust)) == pytest.approx(0.25, rel=0.12)
    merit = math.sqrt(2.0 / math.pi) * made.thrust**1.5 / (2.0 * math.pi * made.torque)
    assert merit.max() < 1.0
    assert np.quantile(merit, (0.025, 0.975)) == pytest.approx((0.40, 0.72), abs=0.025)
    assert np.mean(made.torque_exponent) < 0.0 < np.mean(made.thrust_exponent)


def test_more_blades_give_more_thrust() -> None:
    two, four = (propeller_draws(make_fit(), f"7x4.5x{blades}") for blades in (2, 4))
    assert np.median(four.thrust) / np.median(two.thrust) == pytest.approx(2**0.6, rel=0.05)


def test_an_id_of_the_fit_wins_over_the_geometry_it_reads_as() -> None:
    fit = make_fit()
    named = fit.constant["propellers"].pop("p7x35x3")
    fit = fit.with_constant(propellers={**fit.constant["propellers"], "7x3.5x3": named})
    object.__setattr__(fit, "propellers", ("7x3.5x3", "p6x4x3", "p9x5x2"))
    made = propeller_draws(fit, "7x3.5x3")
    assert made.origin == "fit"
    assert np.std(np.log(made.thrust)) < 0.02


def test_a_part_of_the_draws_keeps_its_pairing() -> None:
    fit = make_fit()
    made = propeller_draws(fit, "p7x35x3")
    rows = np.array([0, 5, 999])
    load = load_of(made, 1.2, rows)
    np.testing.assert_array_equal(
        load.thrust_coefficient, fit.draws["thrust_coefficient"].reshape(-1, 3)[rows, 0]
    )
