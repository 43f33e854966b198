from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motorfit.archive import store
from motorfit.archive.errors import ArchiveError, NotFoundError
from tests.archive.factory import SHARED, make_result


def test_saved_draws_come_back(tmp_path: Path) -> None:
    result = make_result()
    store.save_fit(tmp_path, result)
    given = result.motors[0]
    fit = store.load_fit(tmp_path, given.motor)
    assert fit.propellers == given.propellers
    assert fit.draws.keys() == given.draws.keys()
    for name, values in given.draws.items():
        assert fit.draws[name].dtype == np.float64
        np.testing.assert_allclose(fit.draws[name], values, rtol=6e-8)
    for name, values in given.prior.items():
        np.testing.assert_allclose(fit.prior[name], values, rtol=6e-8)
    np.testing.assert_array_equal(fit.sample_stats["accepted"], given.sample_stats["accepted"])
    np.testing.assert_array_equal(fit.observed["block_run"], given.observed["block_run"])
    np.testing.assert_array_equal(fit.observed["speed_sd"], given.observed["speed_sd"])


def test_replicas_are_rounded_far_below_the_doubt_of_their_block(tmp_path: Path) -> None:
    result = make_result()
    store.save_fit(tmp_path, result)
    given = result.motors[0]
    kept = store.load_fit(tmp_path, given.motor).predictive["speed"]
    assert kept.shape == given.predictive["speed"].shape
    doubt = given.observed["speed_sd"]
    finite = np.isfinite(doubt)
    error = np.abs(kept - given.predictive["speed"])[:, finite]
    assert (error <= doubt[finite] / 32 + 1e-4).all()
    np.testing.assert_array_equal(kept[:, ~finite], given.predictive["speed"][:, ~finite])


def test_motors_of_a_campaign_share_bench_draws_index_by_index(tmp_path: Path) -> None:
    saved = store.save_fit(tmp_path, make_result())
    first, second = (store.load_fit(tmp_path, fit.motor) for fit in saved)
    assert first.campaign_fit == second.campaign_fit
    for name in (*SHARED, "thrust_coefficient"):
        np.testing.assert_array_equal(first.draws[name], second.draws[name])
    assert not np.array_equal(first.draws["kv"], second.draws["kv"])


def test_facts_and_provenance_come_back_in_their_types(tmp_path: Path) -> None:
    store.save_fit(tmp_path, make_result(title="Überlandflug – “Ost” 東"))
    fit = store.load_fit(tmp_path, "alder-2207")
    assert fit.attributes["campaign"] == "Überlandflug – “Ost” 東"
    assert fit.attributes["seed"] == 0
    assert fit.attributes["findings"] == []
    # Infinities and NaN have no JSON: null, never the text "NaN".
    assert fit.attributes["diagnostics"] == {"k_hat": 0.21, "converged": True, "r_hat": None, "lost": None}
    assert fit.constant["motor"]["label_kv"] is None
    assert fit.constant["envelope"]["overall"]["voltage_v"] == [14.0, 16.8]


def test_the_latest_fit_answers_unless_one_is_named(tmp_path: Path) -> None:
    old = store.save_fit(tmp_path, make_result(seed=1))[0]
    new = store.save_fit(tmp_path, make_result(seed=2))[0]
    assert new.fit_id > old.fit_id
    assert store.load_fit(tmp_path, old.motor).fit_id == new.fit_id
    assert store.load_fit(tmp_path, old.motor, old.fit_id).fit_id == old.fit_id
    assert store.find_fit(tmp_path, old.fit_id).motor == old.motor


def test_the_same_fit_gives_the_same_bytes(tmp_path: Path) -> None:
    one = store.save_fit(tmp_path / "one", make_result())
    two = store.save_fit(tmp_path / "two", make_result())
    assert [fit.path.read_bytes() for fit in one] == [fit.path.read_bytes() for fit in two]


def test_four_thousand_draws_of_sixty_variables_stay_below_five_megabytes(tmp_path: Path) -> None:
    result = make_result(("solo",), draws=1000, chains=4, blocks=1500)
    posterior = result.motors[0]
    rng = np.random.default_rng(0)
    channels = ("voltage", "current", "speed", "thrust", "torque")
    for channel in channels:
        for nuisance in ("gain", "offset", "delay", "lag"):
            posterior.draws[f"{nuisance}_{channel}"] = rng.standard_normal((4, 1000))
            posterior.prior[f"{nuisance}_{channel}"] = rng.standard_normal((1, 1000))
        posterior.observed[channel] = 1000.0 + rng.standard_normal(1500)
        posterior.observed[f"{channel}_sd"] = np.full(1500, 1.0)
        posterior.predictive[channel] = (1000.0 + rng.standard_normal((200, 1500))).astype(np.float32)
    for name in ("duty_slope", "duty_curvature", "braking_share", "saturation_current", "current_limit"):
        posterior.draws[name] = rng.standard_normal((4, 1000))
    (saved,) = store.save_fit(tmp_path, result)
    scalars = sum(1 if values.ndim == 2 else 3 for values in posterior.draws.values())
    assert scalars > 45
    assert saved.size_bytes < 5_000_000


@pytest.mark.parametrize(
    ("motor", "fit", "message"),
    [
        (
            "wren-1104",
            None,
            r"motor 'wren-1104': library .* holds no fit of it\. It holds alder-2207, birch-2806\.",
        ),
        ("../etc", None, r"motor id '\.\./etc': allowed are"),
        ("..", None, r"motor id '\.\.'"),
        ("", None, r"motor id ''"),
        ("alder-2207", "latest", r"fit id 'latest': an id looks like"),
        ("alder-2207", "20300102T030405.678901Z-9f86d081-1", r"holds no such fit of alder-2207\. It holds 2"),
    ],
)
def test_what_is_not_there_is_named_with_what_is(
    tmp_path: Path, motor: str, fit: str | None, message: str
) -> None:
    store.save_fit(tmp_path, make_result())
    with pytest.raises(ArchiveError, match=message):
        store.load_fit(tmp_path, motor, fit)


def test_a_library_that_does_not_exist_is_empty(tmp_path: Path) -> None:
    assert store.list_motors(tmp_path / "none") == ()
    assert store.list_fits(tmp_path / "none") == ()
    with pytest.raises(NotFoundError, match="It holds none"):
        store.load_fit(tmp_path / "none", "alder-2207")
    assert not (tmp_path / "none").exists()


def _spoil_name(posterior: Any) -> None:
    posterior.draws["kv_squared"] = posterior.draws["kv"]


def _spoil_shape(posterior: Any) -> None:
    posterior.draws["thrust_coefficient"] = posterior.draws["thrust_coefficient"][:, :, :2]


def _spoil_value(posterior: Any) -> None:
    posterior.draws["kt"][0, 3] = np.nan


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (_spoil_name, "'kv_squared' is not in the table of quantities"),
        (_spoil_shape, r"thrust_coefficient has shape \(2, 400, 2\); \(2, 400, 3\)"),
        (_spoil_value, "kt holds 1 draws that are not numbers"),
    ],
)
def test_a_result_that_does_not_fit_leaves_nothing_of_any_motor(
    tmp_path: Path, spoil: Any, message: str
) -> None:
    result = make_result()
    spoil(result.motors[1])
    with pytest.raises(ArchiveError, match=message):
        store.save_fit(tmp_path, result)
    assert store.list_motors(tmp_path) == ()
    assert list(tmp_path.rglob("*.nc")) == []


def test_a_file_where_the_library_should_be_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "file"
    place.write_text("not a folder")
    with pytest.raises(ArchiveError, match=f"library {re.escape(str(place))}: cannot be written"):
        store.save_fit(place, make_result())
    assert place.read_text() == "not a folder"
    for library in (place, place / "deeper"):
        with pytest.raises(ArchiveError, match=r"file is not a folder\. Name another library"):
            store.check_writable(library)


def test_asking_whether_a_library_can_be_written_makes_nothing(tmp_path: Path) -> None:
    store.check_writable(tmp_path / "new" / "library")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("content", [b"", b"not netCDF", None])
def test_a_damaged_file_is_told_of_and_does_not_hide_the_others(
    tmp_path: Path, content: bytes | None
) -> None:
    good = store.save_fit(tmp_path, make_result(seed=1))[0]
    bad = store.save_fit(tmp_path, make_result(seed=2))[0]
    bad.path.write_bytes(bad.path.read_bytes()[: bad.size_bytes // 2] if content is None else content)
    fits = {fit.fit_id: fit for fit in store.list_fits(tmp_path, "alder-2207")}
    assert fits[good.fit_id].problem is None
    assert "not a readable netCDF-4 file" in str(fits[bad.fit_id].problem)
    with pytest.raises(ArchiveError, match="not a readable netCDF-4 file"):
        store.load_fit(tmp_path, "alder-2207")
    assert store.load_fit(tmp_path, "alder-2207", good.fit_id).fit_id == good.fit_id


def test_a_file_under_another_motors_name_is_refused(tmp_path: Path) -> None:
    alder, birch = store.save_fit(tmp_path, make_result())
    alder.path.write_bytes(birch.path.read_bytes())
    with pytest.raises(ArchiveError, match=r"not a fit of alder-2207.*of motor 'birch-2806'"):
        store.load_fit(tmp_path, "alder-2207")
