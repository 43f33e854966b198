"""What a caller reads of fits: forms, validators, pages."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from motorfit.answers.claims import read_claims
from motorfit.answers.compare import compare
from motorfit.answers.predict import predict
from motorfit.answers.propeller_list import list_propellers
from motorfit.answers.supply import PackChoice
from motorfit.archive.store import list_fits, load_fit, save_fit
from motorfit_api.app import create_app
from motorfit_api.negotiate import MEDIA
from motorfit_api.shelf import Shelf
from tests.api.conftest import BASE
from tests.archive.factory import make_result


@pytest.fixture
def fit(library: Path) -> str:
    return list_fits(library, "tern-2807")[0].fit_id


def test_draws_are_those_of_the_file_in_every_form(
    client: TestClient, library: Path, fit: str, tmp_path: Path
) -> None:
    import pyarrow.parquet as parquet
    import xarray

    kv = load_fit(library, "tern-2807").draws["kv"].reshape(-1)[::10]
    path = f"/v1/fits/{fit}/posterior?draws={kv.size}&parameters=kv"
    found: dict[str, Any] = {"json": client.get(path).json()["parameters"]["kv"]["values"]}
    answers = {form: client.get(path, headers={"Accept": MEDIA[form].split(";")[0]}) for form in MEDIA}
    for form, answer in answers.items():
        assert answer.headers["content-type"] == MEDIA[form]
    rows = list(csv.DictReader(io.StringIO(answers["csv"].text)))
    found["csv"] = [float(row["kv [rpm/V]"]) for row in rows]
    table = parquet.read_table(io.BytesIO(answers["parquet"].content))
    found["parquet"] = table["kv"].to_numpy()
    assert table.schema.field("kv").metadata[b"units"] == b"rpm/V"
    (tmp_path / "draws.nc").write_bytes(answers["netcdf"].content)
    with xarray.open_dataset(tmp_path / "draws.nc", group="answer") as data:
        found["netcdf"] = data["kv"].values
        assert data["kv"].attrs["units"] == "rpm/V"
    for values in found.values():
        assert np.array_equal(np.asarray(values), kv)


def test_draws_of_motors_fitted_together_stay_paired(client: TestClient, library: Path) -> None:
    gains = []
    for motor in ("tern-2807", "gull-2306"):
        (stored,) = list_fits(library, motor)
        answer = client.get(f"/v1/fits/{stored.fit_id}/posterior?draws=7").json()
        gains.append(answer["draw"])
    assert gains[0] == gains[1]


def test_an_accept_header_that_cannot_be_met_is_told(client: TestClient, fit: str) -> None:
    answer = client.get(f"/v1/fits/{fit}/posterior", headers={"Accept": "image/png"})
    assert answer.status_code == 406
    assert "text/csv" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        ("text/csv;q=0.5, application/json;q=0.4", "csv"),
        ("image/png, */*;q=0.1", "json"),
        ("application/json;q=0, text/csv", "csv"),
        ("application/x-netcdf", "netcdf"),
    ],
)
def test_the_best_accepted_form_is_given(client: TestClient, fit: str, accept: str, form: str) -> None:
    answer = client.get(f"/v1/fits/{fit}/posterior?draws=2", headers={"Accept": accept})
    assert answer.headers["content-type"] == MEDIA[form]


@pytest.mark.parametrize("rest", ["", "/parameters", "/runs", "/posterior", "/file"])
def test_what_is_already_held_is_not_sent_again(client: TestClient, fit: str, rest: str) -> None:
    first = client.get(f"/v1/fits/{fit}{rest}")
    assert first.status_code == 200
    again = client.get(
        f"/v1/fits/{fit}{rest}", headers={"If-None-Match": f'"other", {first.headers["etag"]}'}
    )
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]
    assert client.get(f"/v1/fits/{fit}{rest}", headers={"If-None-Match": '"other"'}).status_code == 200


def test_a_new_fit_changes_the_motors_validator(client: TestClient, library: Path) -> None:
    old = client.get("/v1/motors/alder-2207")
    assert old.status_code == 404
    save_fit(library, make_result())
    first = client.get("/v1/motors/alder-2207")
    save_fit(library, make_result(seed=4))
    second = client.get("/v1/motors/alder-2207", headers={"If-None-Match": first.headers["etag"]})
    assert second.status_code == 200
    assert second.json()["fit"] != first.json()["fit"]
    named = client.get("/v1/motors/alder-2207", params={"fit": first.json()["fit"]})
    assert named.json() == first.json()


def test_the_file_is_the_librarys_own(client: TestClient, library: Path, fit: str) -> None:
    assert client.get(f"/v1/fits/{fit}/file").content == list_fits(library, "tern-2807")[0].path.read_bytes()


def test_runs_hold_blocks_and_what_the_fit_says_of_them(client: TestClient, library: Path, fit: str) -> None:
    stored = load_fit(library, "tern-2807")
    runs = {run["run"]: run for run in client.get(f"/v1/fits/{fit}/runs").json()["runs"]}
    assert set(runs) == {"tern-ramp", "tern-table"}
    speed = runs["tern-ramp"]["channels"]["speed"]
    mask = stored.observed["block_run"] == "tern-ramp"
    assert speed["observed"] == stored.observed["speed"][mask].tolist()
    replicas = stored.predictive["speed"][:, mask]
    assert np.allclose(speed["fitted"]["median"], np.median(replicas, axis=0))
    assert speed["unit"] == "rad/s"
    assert runs["tern-table"]["start_s"] == [None] * 6
    assert "thrust" not in runs["tern-table"]["channels"]


def test_lists_come_in_pages(client: TestClient) -> None:
    first = client.get("/v1/motors?limit=1")
    assert [m["motor"] for m in first.json()["motors"]] == ["gull-2306"]
    assert first.headers["link"] == '</v1/motors?offset=1&limit=1>; rel="next"'
    second = client.get("/v1/motors?offset=1&limit=1")
    assert [m["motor"] for m in second.json()["motors"]] == ["tern-2807"]
    assert 'rel="prev"' in second.headers["link"]


def test_head_answers_like_get_without_a_body(client: TestClient) -> None:
    answer = client.head("/v1/motors")
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer.headers["etag"] == client.get("/v1/motors").headers["etag"]


QUESTION = {
    "motor": "tern-2807",
    "propeller": "p7x35x3",
    "voltage": 22.2,
    "throttle": [0.2, 0.4],
    "draws": 100,
}


def test_a_prediction_is_the_commands(client: TestClient, library: Path) -> None:
    expected = predict(
        load_fit(library, "tern-2807"), propeller="p7x35x3", voltage_v=22.2, throttle=[0.2, 0.4], draws=100
    ).to_json()
    answer = client.post("/v1/predictions", json=QUESTION)
    assert answer.json() == expected
    same = client.post("/v1/predictions", json=QUESTION, headers={"If-None-Match": answer.headers["etag"]})
    assert same.status_code == 304
    other = QUESTION | {"voltage": 22.3}
    assert client.post("/v1/predictions", json=other).headers["etag"] != answer.headers["etag"]


def test_a_table_of_curves_carries_the_codes_of_its_warnings(client: TestClient) -> None:
    far = QUESTION | {"voltage": 60.0}
    codes = [w["code"] for w in client.post("/v1/predictions", json=far).json()["warnings"]]
    answer = client.post("/v1/predictions", json=far, headers={"Accept": "text/csv"})
    assert answer.text.startswith("throttle,speed_rpm_median [rpm]")
    assert codes
    assert answer.headers["motorfit-warnings"] == ", ".join(dict.fromkeys(codes))


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"voltage": -1.0}, "body.voltage"),
        ({"voltage": "12"}, "body.voltage"),
        ({"throttle": [20.0]}, "body.throttle.0"),
        ({"throttle": []}, "body.throttle"),
        ({"draws": 10**9}, "body.draws"),
        ({"volts": 3}, "body.volts"),
    ],
)
def test_a_question_at_fault_names_the_place(client: TestClient, change: dict[str, Any], at: str) -> None:
    answer = client.post("/v1/predictions", json=QUESTION | change)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert at in [fault["at"] for fault in answer.json()["faults"]]


def test_a_question_that_is_not_json_is_told_so(client: TestClient) -> None:
    answer = client.post("/v1/predictions", content=b"motor=tern-2807")
    assert answer.status_code == 415
    assert "application/json" in answer.json()["detail"]
    broken = client.post("/v1/predictions", content=b"{", headers={"Content-Type": "application/json"})
    assert broken.status_code == 422
    misspelt = client.get("/v1/motors/tern-2807?intervall=0.5")
    assert misspelt.status_code == 422
    assert "allowed: fit, interval" in misspelt.json()["detail"]


def test_a_propeller_that_nobody_knows_is_not_found(client: TestClient) -> None:
    answer = client.post("/v1/predictions", json=QUESTION | {"propeller": "no such"})
    assert answer.status_code == 404
    assert "p7x35x3" in answer.json()["detail"]


def test_transients_and_endurance_answer(client: TestClient) -> None:
    common = {"motor": "tern-2807", "propeller": "p7x35x3", "draws": 100}
    step = client.post("/v1/transients", json=common | {"voltage": 22.2, "from": 0.1, "to": 0.5})
    assert step.status_code == 200
    assert step.json()["rise_time_s"]["median"] > 0.0
    table = client.post(
        "/v1/transients",
        json=common | {"voltage": 22.2, "from": 0.1, "to": 0.5, "times": [0.0, 0.1]},
        headers={"Accept": "text/csv"},
    )
    assert table.text.startswith("time_s [s],")
    hover = client.post("/v1/endurance", json=common | {"cells": 6, "capacity_mah": 1300.0, "mass_g": 900.0})
    assert hover.status_code == 200
    assert 0.0 < hover.json()["hover_throttle"]["median"] < 1.0
    half = client.post("/v1/transients", json=common | {"cells": 6, "from": 0.1, "to": 0.5})
    assert half.status_code == 409


def test_a_prediction_from_a_pack_over_another_axis(client: TestClient, library: Path) -> None:
    fit = load_fit(library, "tern-2807")
    pack = {"cells": 6, "capacity_mah": 1300.0, "motors": 4}
    asked = {
        "motor": "tern-2807",
        "propeller": "p7x35x3",
        "draws": 100,
        "against": "thrust",
        "points": [1.0, 2.0],
    }
    expected = predict(
        fit,
        propeller="p7x35x3",
        pack=PackChoice(6, 1300.0),
        motors=4,
        draws=100,
        against="thrust",
        points=[1.0, 2.0],
    ).to_json()
    assert client.post("/v1/predictions", json=asked | pack).json() == expected


def test_motors_are_compared_as_the_command_does(client: TestClient, library: Path) -> None:
    fits = [load_fit(library, motor) for motor in ("tern-2807", "gull-2306")]
    expected = compare(fits, propeller="p7x35x3", voltage_v=22.2, metrics=("kv", "max_thrust_n")).to_json()
    asked = {"motors": ["tern-2807", "gull-2306"], "propeller": "p7x35x3", "voltage": 22.2}
    answer = client.post("/v1/comparisons", json=asked | {"metric": ["kv", "max_thrust_n"]})
    assert answer.json() == expected
    same = client.post(
        "/v1/comparisons",
        json=asked | {"metric": ["kv", "max_thrust_n"]},
        headers={"If-None-Match": answer.headers["etag"]},
    )
    assert same.status_code == 304
    assert client.post("/v1/comparisons", json={"motors": ["tern-2807"] * 2}).status_code == 409
    assert client.post("/v1/comparisons", json={"motors": ["none"]}).status_code == 404


def test_a_claimed_table_is_checked_as_the_command_does(
    client: TestClient, library: Path, tmp_path: Path
) -> None:
    path = tmp_path / "claimed.csv"
    path.write_text("voltage [V],throttle [1],thrust [N]\n22.2,0.5,4.1\n22.2,1.0,\n22.2,0.9,12.5\n")
    fit = load_fit(library, "tern-2807")
    ask: dict[str, Any] = {"propeller": "p7x35x3", "metrics": ("kv",), "voltage_v": 22.2}
    tables = [("tern-2807", table) for table in read_claims(path, "tern-2807")]
    expected = compare([fit], tables=tables, **ask).to_json()
    rows = {"motor": "tern-2807", "name": "claimed.csv", "voltage_v": [22.2] * 3, "throttle": [0.5, 1.0, 0.9]}
    asked = {"motors": ["tern-2807"], "propeller": "p7x35x3", "voltage": 22.2, "metric": ["kv"]}
    answer = client.post(
        "/v1/comparisons", json=asked | {"claims": [rows | {"thrust_n": [4.1, None, 12.5]}]}
    ).json()
    assert answer["claimed_tables"] == expected["claimed_tables"]
    assert answer["claimed_tables"][0]["columns"]["thrust_n"]["z"][1] is None
    for columns, said in (
        ({}, "a claimed column"),
        ({"thrust_n": [1.0]}, "as many values in each column"),
        ({"thrust_n": [None, -1.0, 0.0]}, "a value above 0 in each column"),
    ):
        refused = client.post("/v1/comparisons", json=asked | {"claims": [rows | columns]})
        assert refused.status_code == 409
        assert said in refused.json()["detail"]


def test_propellers_with_where_they_come_from(client: TestClient, library: Path) -> None:
    listed = client.get("/v1/propellers").json()
    assert listed["propellers"] == [one.to_json() for one in list_propellers(library)]
    assert listed["total"] > 0
    first = listed["propellers"][0]["propeller"]
    one = client.get(f"/v1/propellers/{first}")
    assert one.json()["entries"] == [e for e in listed["propellers"] if e["propeller"] == first]
    again = client.get(f"/v1/propellers/{first}", headers={"If-None-Match": one.headers["etag"]})
    assert again.status_code == 304
    assert client.get("/v1/propellers/none").status_code == 404


def test_infinite_draws_are_null_and_nothing_breaks(tmp_path: Path) -> None:
    result = make_result(("alder-2207",))
    result.motors[0].draws["saturation_current"] = np.full((2, 400), np.inf)
    save_fit(tmp_path, result)
    client = TestClient(create_app(tmp_path), BASE)
    (stored,) = list_fits(tmp_path, "alder-2207")
    answer = client.get(f"/v1/fits/{stored.fit_id}/posterior?parameters=saturation_current&draws=2")
    assert answer.json()["parameters"]["saturation_current"]["values"] == [None, None]


def test_fits_in_memory_are_bounded_in_bytes(library: Path) -> None:
    everything = Shelf(library, 2**40)
    files = [files[-1] for _, files in everything.motors()]
    held = [everything.load(file) for file in files]
    one = sum(array.nbytes for array in held[0].draws.values())
    assert all(everything.held(file) is not None for file in files)
    shelf = Shelf(library, one)
    for file in files:
        shelf.load(file)
    assert [shelf.held(file) is not None for file in files] == [False] * (len(files) - 1) + [True]
    # The last one asked for stays, also where it alone is too large.
    alone = Shelf(library, 0)
    alone.load(files[0])
    assert alone.held(files[0]) is not None
