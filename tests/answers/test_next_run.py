"""The run to make next: what is promised of it is what it brings, on simulated benches."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest

from motorfit.answers.candidates import Candidate, candidates, would_log
from motorfit.answers.errors import AnswerError
from motorfit.answers.next_run import NextRun, next_run
from motorfit.inference.assemble import Values
from motorfit.inference.design import precision_of, variance_ratio
from motorfit.inference.draws import parameters_of
from motorfit.inference.positions import Positions, posterior_positions
from tests.inference.benches import SimulatedBench, bench_in

SEED = 8
SPIN_UP = Candidate("motor-1", "spin-up", None, "disc", 16.0, 45.0)
STEPS = Candidate("motor-1", "steps", "prop-a", None, 23.6, None)
HOLD = Candidate("motor-1", "hold", "prop-a", None, 23.6, None)
COAST = Candidate("motor-1", "coast-down", None, "disc", 12.0, None)

TOLERANCE = 0.18
"""Of an expected width: what the noise of one real run, the learning of noise and a few truths bring in."""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    return bench_in(tmp_path_factory.mktemp("base"), "no-load", "ramp", seed=SEED)


@pytest.fixture(scope="module")
def known(bench: SimulatedBench) -> Positions:
    return posterior_positions(bench.campaign, bench.blocked, draws=2400)


@pytest.fixture(scope="module")
def answer(bench: SimulatedBench) -> NextRun:
    return next_run(bench.campaign, bench.logs, "rotor_inertia", draws=1200, truths=2)


def _log_of(known: Positions, name: str, v: Values) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    draws = parameters_of(known.target.graph, v, "motor-1", (1, v.draws))[name]
    return np.log(draws.reshape(v.draws, -1)[:, 0])


@cache
def _more(folder: str, kind: str) -> Positions:
    from pathlib import Path

    made = bench_in(Path(folder), "no-load", "ramp", kind, seed=SEED)
    return posterior_positions(made.campaign, made.blocked, draws=2400)


@pytest.mark.parametrize(
    ("candidate", "name"),
    [
        (SPIN_UP, "rotor_inertia"),
        (SPIN_UP, "kt"),
        (SPIN_UP, "torque_coefficient"),
        (SPIN_UP, "thrust_coefficient"),
        (STEPS, "prop_inertia"),
        (STEPS, "winding_resistance"),
        (HOLD, "prop_inertia"),
        (COAST, "kt"),
        (COAST, "no_load_current"),
    ],
)
def test_what_is_promised_is_what_the_run_brings(
    bench: SimulatedBench,
    known: Positions,
    tmp_path_factory: pytest.TempPathFactory,
    candidate: Candidate,
    name: str,
) -> None:
    folder = str(tmp_path_factory.getbasetemp() / f"more-{candidate.kind}")
    with_it = _more(folder, candidate.kind)
    precision = precision_of(known.z)
    ratios = []
    for k, z in enumerate(known.z[:: known.z.shape[0] // 3][:3]):
        rng = np.random.default_rng(k)
        run = would_log(known, bench.blocked, candidate, z, rng)
        ratios.append(variance_ratio(known, precision, z, run, lambda v: _log_of(known, name, v), rng))
    now = float(_log_of(known, name, known.target.values(known.z)).std())
    expected = now * float(np.sqrt(np.mean(ratios)))
    actual = float(_log_of(with_it, name, with_it.target.values(with_it.z)).std())
    assert expected == pytest.approx(actual, rel=TOLERANCE)
    if candidate is SPIN_UP and name != "thrust_coefficient":
        assert actual < 0.8 * now  # the run matters, so that the agreement means something


def test_ranking(answer: NextRun) -> None:
    ratios = [c.width_ratio for c in answer.candidates]
    assert ratios == sorted(ratios) and 0.0 < ratios[0] < 0.8 and ratios[-1] <= 1.0
    # the flywheel frees the torque constant from the sensors' gains, and with it the rotor's inertia
    assert answer.candidates[0].candidate.flywheel == "disc"
    assert "disc" in answer.sentence
    best = answer.candidates[0]
    assert answer.low < best.low < answer.median < best.high < answer.high
    assert np.log(best.high / best.low) / np.log(answer.high / answer.low) == pytest.approx(best.width_ratio)


def test_json_is_plain(answer: NextRun) -> None:
    document = json.loads(json.dumps(answer.to_json(), allow_nan=False))
    assert document["quantity"] == "rotor_inertia" and document["unit"] == "kg m^2"
    assert set(document["now"]) == {"median", "low", "high", "sd"}
    assert "makers' speed limits" in document["caution"]
    first = document["candidates"][0]
    assert first["kind"] in ("spin-up", "coast-down") and first["width_ratio"] < 1.0


def test_no_candidate_goes_beyond_what_was_done(bench: SimulatedBench) -> None:
    found = candidates(bench.campaign, bench.blocked, "motor-1")
    loaded = [c for c in found if c.propeller is not None]
    assert {c.kind for c in loaded} == {"ramp", "steps", "hold"}
    top = max(float(np.nanmax(r.supply.open_circuit_v)) for r in bench.blocked)
    assert all(c.voltage_v <= top * 1.01 for c in found)
    # no flywheel was spun yet: not above what the bare motor has seen
    assert all(c.voltage_v < 11.0 for c in found if c.flywheel is not None)


def test_questions_that_cannot_be_answered(bench: SimulatedBench) -> None:
    with pytest.raises(AnswerError, match=r"allowed: motor-1\. Name one of them"):
        next_run(bench.campaign, bench.logs, "kt", motor="motor-9")
    with pytest.raises(AnswerError, match=r"for: 'kp' cannot be used; allowed: kv, kt"):
        next_run(bench.campaign, bench.logs, "kp", draws=320)
