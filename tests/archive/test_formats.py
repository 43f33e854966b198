"""The files as others read them: plain xarray over either engine."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
import pytest
import xarray

from motorfit.archive import store
from tests.archive.factory import make_result

GROUPS = {"posterior", "prior", "sample_stats", "observed_data", "posterior_predictive", "constant_data"}


@pytest.mark.parametrize("engine", ["netcdf4", "h5netcdf"])
@pytest.mark.filterwarnings("ignore:.*:DeprecationWarning:h5netcdf")
def test_files_open_as_a_tree_of_labelled_arrays(
    tmp_path: Path, engine: Literal["netcdf4", "h5netcdf"]
) -> None:
    result = make_result()
    saved = store.save_fit(tmp_path, result)[0]
    with xarray.open_datatree(saved.path, engine=engine) as tree:
        assert set(tree.children) == GROUPS
        posterior = tree["posterior"].to_dataset()
        assert posterior["kv"].dims == ("chain", "draw")
        assert posterior["thrust_coefficient"].dims == ("chain", "draw", "propeller")
        assert posterior["kv"].attrs["units"] == "rpm/V"
        for name, variable in posterior.data_vars.items():
            assert variable.attrs["units"], name
            assert variable.attrs["long_name"], name
        assert list(posterior["propeller"].values) == ["p5x4x3", "p7x35x2", "p9x45x2"]
        one = posterior["thrust_coefficient"].sel(propeller="p7x35x2").values
        np.testing.assert_allclose(one, result.motors[0].draws["thrust_coefficient"][:, :, 1], rtol=6e-8)
        assert tree["posterior_predictive"]["speed"].dims == ("chain", "draw", "block")
        assert list(tree["observed_data"].to_dataset()["block_run"].values[:1]) == ["no-load"]
        assert tree.attrs["motor"] == "alder-2207"
        assert isinstance(tree.attrs["priors"], str)


def test_a_fit_without_any_propeller_is_stored(tmp_path: Path) -> None:
    result = make_result(("solo",))
    posterior = result.motors[0]
    for store_of in (posterior.draws, posterior.prior):
        for name in [name for name, values in store_of.items() if values.ndim == 3]:
            del store_of[name]
    bare = type(posterior)(**{**posterior.__dict__, "propellers": (), "constant": {"propellers": {}}})
    store.save_fit(tmp_path, type(result)(None, (bare,)))
    fit = store.load_fit(tmp_path, "solo")
    assert fit.propellers == ()
    with xarray.open_datatree(fit.path) as tree:
        assert "propeller" not in tree["posterior"].dims


def test_a_long_provenance_is_not_cut(tmp_path: Path) -> None:
    result = make_result(("solo",))
    hashes = {f"logs/run-{number:04d}.csv": f"{number:064x}" for number in range(2000)}
    result.motors[0].attributes["inputs_sha256"] = hashes
    store.save_fit(tmp_path, result)
    assert store.load_fit(tmp_path, "solo").attributes["inputs_sha256"] == hashes


def test_the_diagnostics_library_reads_the_stored_layout(tmp_path: Path) -> None:
    arviz_stats = pytest.importorskip("arviz_stats")
    saved = store.save_fit(tmp_path, make_result())[0]
    with xarray.open_datatree(saved.path) as tree:
        summary = arviz_stats.summary(tree, var_names=["kv", "thrust_coefficient"], kind="diagnostics")
    assert len(summary) == 4
