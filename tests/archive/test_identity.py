from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorfit.archive import identity
from motorfit.archive.errors import ArchiveError

MOMENT = datetime(2030, 1, 2, 3, 4, 5, 678901, tzinfo=UTC)


def test_ids_of_one_moment_differ() -> None:
    made = {identity.new_campaign_fit(now=MOMENT) for _ in range(200)}
    assert len(made) == 200
    assert all(identity.is_fit_id(f"{name}-1") for name in made)


@given(st.datetimes(min_value=datetime(2000, 1, 1), max_value=datetime(2199, 1, 1), timezones=st.just(UTC)))
def test_a_new_id_sorts_after_all_known_ones_whatever_the_clock_says(moment: datetime) -> None:
    known = [f"{identity.new_campaign_fit(now=MOMENT)}-{number}" for number in (1, 2)]
    new = f"{identity.new_campaign_fit(known, now=moment)}-1"
    assert new > max(known)


def test_the_shared_part_is_what_motors_fitted_together_have_in_common() -> None:
    shared = identity.new_campaign_fit()
    assert identity.campaign_fit_of(f"{shared}-1") == identity.campaign_fit_of(f"{shared}-12") == shared


@pytest.mark.parametrize("motor", ["tern-2807", "A.b_c-9", "_x", "0"])
def test_plain_ids_are_taken(motor: str) -> None:
    assert identity.check_motor_id(motor) == motor


@pytest.mark.parametrize(
    "motor", ["", ".", "..", ".hidden", "a/b", "a\\b", "a\0b", "a b", "é", "x" * 129, "a\n"]
)
def test_ids_that_could_leave_the_library_are_refused(motor: str) -> None:
    with pytest.raises(ArchiveError, match="allowed are"):
        identity.check_motor_id(motor)
