from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from motorfit.answers.errors import AnswerError
from motorfit.answers.propeller_kin import SHIPPED, Geometry, design, from_components
from motorfit.answers.propeller_stated import StatedPropeller
from motorfit.answers.propeller_tested import LibraryPropeller, propellers_tested_in
from motorfit.answers.propellers import load_of, propeller_draws
from tests.answers.standin import make_fit


def test_geometry_draws() -> None:
    made = propeller_draws(make_fit(), "7x4.5x2")
    assert made.origin == "geometry"
    assert made.diameter_m == pytest.approx(0.1778)
    assert made.sharpened_by == ("p6x4x3", "p7x35x3")  # the third was not run
    assert 0.08 < np.median(made.thrust) < 0.16
    merit = math.sqrt(2.0 / math.pi) * made.thrust**1.5 / (2.0 * math.pi * made.torque)
    assert merit.max() < 1.0
    assert made.inertia is not None
    assert np.std(np.log(made.inertia)) == pytest.approx(math.hypot(0.25, 0.45), rel=0.1)


def test_the_same_question_has_the_same_draws() -> None:
    first, second = (propeller_draws(make_fit(), "7x4.5x2") for _ in range(2))
    np.testing.assert_array_equal(first.thrust, second.thrust)
    other = propeller_draws(make_fit(), "7x4.6x2")
    assert not np.array_equal(first.thrust, other.thrust)


def test_more_blades_and_more_pitch_give_more_thrust() -> None:
    two, four, steep = (np.median(propeller_draws(make_fit(), n).thrust) for n in ("7x4x2", "7x4x4", "7x5x2"))
    assert four / two == pytest.approx(2**0.62, rel=0.1)
    assert steep > two


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


def _other(seed: int, campaign: str, bench: str = "north") -> LibraryPropeller:
    fit = make_fit(seed)
    fit = replace(fit, fit_id=f"2027-{campaign}-1", attributes={"campaign": campaign, "bench": bench})
    return replace(propellers_tested_in(fit)[0], name="p8x4x2")


def test_a_propeller_of_another_campaign() -> None:
    fit = make_fit()
    other = _other(5, "spring")
    made = propeller_draws(fit, "p8x4x2", [other])
    assert (made.origin, made.source, made.reference_rev_per_s) == ("library", "2027-spring", 250.0)
    assert np.median(made.thrust) == pytest.approx(np.median(other.thrust), rel=0.01)
    # Another stand and another unit add their scatter to what was learned there.
    assert np.std(np.log(made.thrust)) > math.hypot(np.std(np.log(other.thrust)), 0.03)
    assert made.inertia is not None


def test_rows_of_another_campaign_are_not_paired_by_index() -> None:
    fit = make_fit()
    other = _other(5, "spring")
    ramp = 0.14 * np.exp(np.linspace(-0.2, 0.2, other.thrust.size))
    made = propeller_draws(fit, "p8x4x2", [replace(other, thrust=ramp)])
    assert abs(np.corrcoef(made.thrust, ramp)[0, 1]) < 0.15
    again = propeller_draws(fit, "p8x4x2", [replace(other, thrust=ramp)])
    np.testing.assert_array_equal(made.thrust, again.thrust)


def test_the_same_stand_adds_only_the_scatter_of_units() -> None:
    fit = replace(make_fit(), attributes={"campaign": "autumn", "bench": "north"})
    same, apart = (
        propeller_draws(fit, "p8x4x2", [_other(5, "spring", bench)]) for bench in ("north", "south")
    )
    assert np.std(np.log(same.thrust)) < np.std(np.log(apart.thrust))


def test_an_id_of_several_campaigns_must_be_told_apart() -> None:
    library = [_other(5, "spring"), _other(6, "summer")]
    with pytest.raises(AnswerError, match=r"p8x4x2@2027-spring, p8x4x2@2027-summer"):
        propeller_draws(make_fit(), "p8x4x2", library)
    assert propeller_draws(make_fit(), "p8x4x2@2027-summer", library).source == "2027-summer"


def test_unknown_names_are_answered_with_what_is_near() -> None:
    with pytest.raises(AnswerError, match=r"Did you mean 'p8x4x2'.*7x4.5x2"):
        propeller_draws(make_fit(), "p8x4x", [_other(5, "spring")])
    with pytest.raises(AnswerError, match=r"0\.2 to 2 diameters"):
        propeller_draws(make_fit(), "7x1x2")


def _usual(seed: int, geometry: Geometry) -> LibraryPropeller:
    """One that does as its geometry says: equal C_T at unequal pitch would tell of makes far apart."""
    other = _other(seed, f"c{seed}")
    mean = design(geometry) @ SHIPPED.mean[:14] + SHIPPED.mean[14:]
    thrust, torque, _, _ = from_components(mean)
    return replace(
        other, geometry=geometry, reference_rev_per_s=geometry.reference_rev_per_s,
        thrust=thrust * other.thrust / other.thrust.mean(),
        torque=torque * other.torque / other.torque.mean(),
    )  # fmt: skip


def test_a_library_sharpens_a_geometry() -> None:
    fit = make_fit()
    alone = propeller_draws(fit, "8x4.5x2")
    library = [_usual(s, Geometry((6 + 0.5 * s) * 0.0254, 0.1, 2)) for s in range(6)]
    helped = propeller_draws(fit, "8x4.5x2", library)
    assert len(helped.sharpened_by) == 5  # the most alike: more could not be sorted into makes by chance
    assert np.std(np.log(helped.thrust)) < 0.9 * np.std(np.log(alone.thrust))
    back = propeller_draws(fit, "8x4.5x2", library[::-1])
    np.testing.assert_array_equal(helped.thrust, back.thrust)


def test_a_told_make_narrows_its_own_and_no_other() -> None:
    fit = make_fit()
    library = [replace(_other(s, f"c{s}"), make="alder") for s in range(6)]
    own = propeller_draws(fit, "8x4.5x2@alder", library)
    assert own.same_make == ("p8x4x2",) * 6 and own.name == "8x4.5x2@alder"
    open_ = propeller_draws(fit, "8x4.5x2", library)
    spread = [float(np.std(np.log(made.thrust))) for made in (own, open_)]
    assert spread[0] < 0.75 * spread[1]
    stated = StatedPropeller(diameter_in=8, pitch_in=4.5, make="birch")
    stranger = propeller_draws(fit, stated, library)
    assert stranger.same_make == () and float(np.std(np.log(stranger.thrust))) > 1.5 * spread[0]
    with pytest.raises(AnswerError, match=r"a make after @ .*\(alder\)"):
        propeller_draws(fit, "8x4.5x2@birch", library)


def test_a_campaign_tells_makes() -> None:
    fit = make_fit()
    told = {name: {**facts, "make": "alder"} for name, facts in fit.constant["propellers"].items()}
    known = propellers_tested_in(fit.with_constant(propellers=told))
    assert {t.make for t in known} == {"alder"} and known[0].known().make == "alder"
    made = propeller_draws(fit.with_constant(propellers=told), "p9x5x2")  # declared, never run
    assert made.same_make == ("p6x4x3", "p7x35x3")
    plain = propeller_draws(fit, "p9x5x2")
    assert np.std(np.log(made.thrust)) < np.std(np.log(plain.thrust))


def test_what_was_not_learned_is_not_evidence() -> None:
    assert [t.name for t in propellers_tested_in(make_fit())] == ["p7x35x3", "p6x4x3"]


def test_a_declared_propeller_that_no_run_had_is_known_by_its_geometry() -> None:
    fit = make_fit()
    made, plain = propeller_draws(fit, "p9x5x2"), propeller_draws(fit, "9x5x2")
    assert (made.name, made.origin, made.sharpened_by) == ("p9x5x2", "fit", ("p6x4x3", "p7x35x3"))
    np.testing.assert_array_equal(made.thrust, plain.thrust)
    np.testing.assert_array_equal(made.inertia, fit.draws["prop_inertia"].reshape(-1, 3)[:, 2])


@pytest.mark.parametrize("name", ["7x4.5x2", "p8x4x2", "p9x5x2"])
def test_motors_of_one_campaign_turn_one_and_the_same_propeller(name: str) -> None:
    """Row by row, or a difference between two motors would hold two propellers."""
    first = make_fit()
    second = replace(first, motor="gull-2306", fit_id=first.fit_id[:-1] + "9")
    made = [propeller_draws(fit, name, [_other(5, "spring")]) for fit in (first, second)]
    np.testing.assert_array_equal(made[0].thrust, made[1].thrust)
    np.testing.assert_array_equal(made[0].torque, made[1].torque)
