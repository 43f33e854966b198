"""Labels and claims: probabilities by counting, tables beside predictions, unreadable ones refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.answers.claims import read_claims
from motorfit.answers.compare import compare
from motorfit.answers.errors import AnswerError
from motorfit.answers.plain import off_by
from motorfit.answers.predict import predict
from motorfit.errors import MotorfitError
from tests.answers.benches import TRUTH, one_bench
from tests.answers.standin import StandIn

ASK = {"propeller": "p7x35x3", "voltage_v": 22.2}


def test_a_label_is_checked_without_being_asked(rng: np.random.Generator) -> None:
    (fit,) = one_bench(rng, [TRUTH], facts=[{"label_kv": 1330.0}])
    (claim,) = compare([fit], metrics=("kv",)).claims
    off = np.abs(fit.draws["kv"] / 1330.0 - 1.0)
    assert claim.metric == "kv"
    for step in (0.01, 0.03, 0.05):
        assert claim.within[step] == pytest.approx(np.mean(off <= step))
    assert claim.deviation[0] == pytest.approx(np.median(fit.draws["kv"]) / 1330.0 - 1.0)
    # Two per cent between units twice over, and the bench: a claim this near is nothing odd.
    assert claim.probability_as_far > 0.2
    assert "within 1 %" in claim.text


def test_a_claim_far_off_is_said_to_be(rng: np.random.Generator) -> None:
    (fit,) = one_bench(rng, [TRUTH])
    found = compare([fit], metrics=("max_thrust_n",), claims={"max_thrust_n": 40.0, "kv": 1310.0}, **ASK)  # type: ignore[arg-type]
    by_name = {claim.metric: claim for claim in found.claims}
    assert by_name["kv"].claimed == 1310.0  # the user's figure stands for the label's
    thrust = by_name["max_thrust_n"]
    assert thrust.within[0.05] == 0.0 and thrust.z > 5.0 and thrust.probability_as_far < 0.01
    assert "is unlike" in thrust.text
    spread = thrust.other_unit
    assert spread[2] - spread[1] > thrust.high - thrust.low


def _table(fit: StandIn, factor: float) -> str:
    curves = predict(fit, throttle=[0.4, 0.6, 0.8], propeller="p7x35x3", voltage_v=22.2).curves
    rows = ["voltage [V],throttle [%],current [A],speed [rpm],thrust [gf]"]
    for k, x in enumerate((40, 60, 80)):
        amps, rpm, newtons = (curves[n].median[k] for n in ("current_a", "speed_rpm", "thrust_n"))
        rows.append(f"22.2,{x},{amps:.4f},{rpm:.1f},{factor * newtons / 9.80665e-3:.2f}")
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(("factor", "far"), [(1.0, False), (1.25, True)])
def test_a_claimed_table_is_set_beside_the_prediction(
    rng: np.random.Generator, tmp_path: Path, factor: float, far: bool
) -> None:
    (fit,) = one_bench(rng, [TRUTH])
    path = tmp_path / "claimed.csv"
    path.write_text(_table(fit, factor))
    tables = [("tern-2807", table) for table in read_claims(path, "tern-2807")]
    found = compare([fit], metrics=("kv",), tables=tables, **ASK)  # type: ignore[arg-type]
    columns = {column.name: column for column in found.tables[0].columns}
    assert set(columns) == {"current_a", "speed_rpm", "thrust_n"}
    thrust = columns["thrust_n"]
    assert thrust.ratio[0] == pytest.approx(factor, rel=0.03)
    assert (thrust.probability_as_far < 0.01) is far
    assert bool(np.abs(thrust.z).max() > 3.0) is far
    assert columns["speed_rpm"].probability_as_far > 0.5
    document = found.to_json()["claimed_tables"][0]["columns"]["thrust_n"]
    assert len(document["z"]) == 3


def test_a_claimed_table_that_cannot_be_used_says_why(tmp_path: Path) -> None:
    with pytest.raises(AnswerError, match="a file of claimed points"):
        read_claims(tmp_path / "none.csv", "tern-2807")
    bare = tmp_path / "bare.csv"
    bare.write_text("current [A],thrust [N]\n1,2\n3,4\n")
    with pytest.raises(MotorfitError, match="voltage and throttle"):
        read_claims(bare, "tern-2807")


@pytest.mark.parametrize(
    ("share", "text"), [(0.0182, "+1.8"), (-0.0182, "−1.8"), (-0.0002, "0.0"), (0.0004, "0.0")]
)
def test_a_deviation_has_a_sign_unless_it_is_none(share: float, text: str) -> None:
    assert off_by(share) == text
