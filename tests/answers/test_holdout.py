"""Predicting runs by a fit of the others, on small simulated benches."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from motorfit.answers.channelscore import ChannelScore, pooled, score_channel
from motorfit.answers.errors import AnswerError
from motorfit.answers.holdout import HeldRun, Holdout, holdout
from motorfit.answers.leaving import groups
from motorfit.answers.untested import by_geometry
from motorfit.bench.models import Measurement
from motorfit.inference.positions import posterior_positions
from motorfit.inference.unseen import predict_unseen
from tests.inference.benches import SimulatedBench, bench_in


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    """One motor with two propellers, each on one ramp."""
    return bench_in(tmp_path_factory.mktemp("bench"), "no-load", "ramp", propellers=2, seed=5)


@pytest.fixture(scope="module")
def every_run(bench: SimulatedBench) -> Holdout:
    return holdout(bench.campaign, bench.logs, leave="run", method="fast", draws=800)


def _run(answer: Holdout, id: str) -> HeldRun:
    return next(r for h in answer.held for r in h.runs if r.run == id)


def test_every_run_is_predicted_by_the_others(bench: SimulatedBench, every_run: Holdout) -> None:
    assert [h.left_out.value for h in every_run.held] == [r.id for r in bench.campaign.runs]
    for held in every_run.held:
        assert held.problem is None and held.fitted_runs == 2
        (run,) = held.runs
        assert {"current", "speed"} <= {c.channel for c in run.channels}
    speed = next(c for c in _run(every_run, "motor-1-no-load").channels if c.channel == "speed")
    assert speed.relative_error < 0.02
    # bands of 90 %: each share within what its own ensemble allows nearly always
    wide = [c.coverage[-1] for h in every_run.held for c in h.channels]
    assert np.mean([c.share >= c.low for c in wide]) > 0.7


def test_what_only_the_prior_tells_is_said(every_run: Holdout) -> None:
    ramp = _run(every_run, "motor-1-ramp-prop-b")
    assert ramp.notes == (
        "No run with prop-b is left: it is predicted from its geometry, by what propellers have in common "
        "and those left tell.",
    )
    thrust = next(c for c in ramp.channels if c.channel == "thrust")
    # nothing but geometry: wide bands, all blocks up or down together
    assert thrust.coverage[-1].effective < 6.0 and thrust.coverage[-1].share > 0.5


def test_json_is_plain(every_run: Holdout) -> None:
    document = json.loads(json.dumps(every_run.to_json(), allow_nan=False))
    assert set(document) == {"held_out", "channels"}
    first = document["held_out"][0]["runs"][0]["channels"]["speed"]
    assert first["unit"] == "rad/s" and [c["interval"] for c in first["coverage"]] == [0.5, 0.9]
    assert set(first) == {
        "unit", "blocks", "coverage", "relative_error", "bias", "rmse", "crps", "crps_expected", "sentence",
    }  # fmt: skip


def test_nothing_of_the_run_leaks_into_its_prediction(bench: SimulatedBench) -> None:
    """Other readings of the run, same prediction; and a reading 20 % off shows as bias."""
    held = bench.blocked[1]
    known = posterior_positions(
        bench.campaign, (bench.blocked[0], bench.blocked[2]), method="fast", draws=400
    )
    thrust = {"thrust": 1.2 * held.mean["thrust"]}
    wrong = replace(held, mean={**held.mean, **thrust})
    (first,) = predict_unseen(known, (held,), np.random.default_rng(1), 200)
    (again,) = predict_unseen(known, (wrong,), np.random.default_rng(1), 200)
    np.testing.assert_allclose(first.replicas["current"], again.replicas["current"], rtol=1e-9)
    score = score_channel("thrust", first.replicas["thrust"], first.observed["thrust"], first.length_s)
    worse = score_channel("thrust", again.replicas["thrust"], again.observed["thrust"], again.length_s)
    assert score is not None and worse is not None
    assert (1.0 + worse.bias) / (1.0 + score.bias) == pytest.approx(1.0 / 1.2, rel=0.02)


def test_an_untested_propeller_is_predicted_by_its_geometry(bench: SimulatedBench) -> None:
    """As `predict` would, sharpened by the tested one; not by the prior of C_T, which knows of no pitch."""
    rest, held = (bench.blocked[0], bench.blocked[1]), (bench.blocked[2],)
    known = posterior_positions(bench.campaign, rest, method="fast", draws=800)
    told = by_geometry(bench.campaign, known, rest, held, np.random.default_rng(0))
    assert set(told) == {
        f"{kind}_{what}[prop-b]"
        for kind in ("thrust", "torque")
        for what in ("coefficient", "reynolds_exponent")
    }
    assert by_geometry(bench.campaign, known, rest, (rest[1],), np.random.default_rng(0)) == {}
    thrust = told["thrust_coefficient[prop-b]"]
    assert 0.1 < np.std(np.log(thrust)) < 0.25
    (found,) = predict_unseen(known, held, np.random.default_rng(1), 400, told)
    doubled = told | {"thrust_coefficient[prop-b]": 2.0 * thrust}
    (more,) = predict_unseen(known, held, np.random.default_rng(1), 400, doubled)
    ratio = np.median(more.replicas["thrust"], axis=0) / np.median(found.replicas["thrust"], axis=0)
    assert np.median(ratio) == pytest.approx(2.0, rel=0.05)
    measured = bench.campaign.model_copy(
        update={
            "measurements": (
                Measurement(propeller="prop-b", quantity="thrust_coefficient", value=0.12, sd=0.01),
            )
        }
    )
    assert by_geometry(measured, known, rest, held, np.random.default_rng(0)) == {}


def test_groups(bench: SimulatedBench) -> None:
    assert [g.value for g in groups(bench.blocked, "propeller")] == ["prop-a", "prop-b"]
    assert [g.value for g in groups(bench.blocked, "pair")] == ["motor-1 with prop-a", "motor-1 with prop-b"]
    low, high = groups(bench.blocked, "voltage")
    assert low.runs == ("motor-1-no-load",) and len(high.runs) == 2
    assert float(low.value.split()[0]) == pytest.approx(10.0, abs=0.4)


def test_what_cannot_be_left_out_is_refused(bench: SimulatedBench) -> None:
    with pytest.raises(AnswerError, match="run: 'ramp' cannot be used; allowed: motor-1-no-load"):
        holdout(bench.campaign, bench.logs, run="ramp")
    with pytest.raises(AnswerError, match="two voltages or more"):
        groups(bench.blocked[1:], "voltage")
    with pytest.raises(AnswerError, match="has a propeller"):
        groups(bench.blocked[:1], "pair")


def test_the_only_run_is_predicted_from_the_prior(bench: SimulatedBench) -> None:
    logs = bench.logs[:1]
    campaign = bench.campaign.model_copy(update={"runs": bench.campaign.runs[:1]})
    (held,) = holdout(campaign, logs, run="motor-1-no-load", draws=400).held
    assert held.method == "prior" and held.fitted_runs == 0
    assert held.runs[0].notes[0] == "No run of motor-1 is left: it is predicted from priors only."
    assert all(c.coverage[-1].share > 0.5 for c in held.channels)


def test_pooled_scores_weigh_by_blocks() -> None:
    rng = np.random.default_rng(6)
    a = score_channel("thrust", rng.standard_normal((500, 30)) + 5.0, np.full(30, 5.0), np.full(30, 0.1))
    b = score_channel("thrust", rng.standard_normal((500, 10)) + 5.0, np.full(10, 99.0), np.full(10, np.nan))
    assert isinstance(a, ChannelScore) and isinstance(b, ChannelScore)
    (both,) = pooled([a, b])
    assert both.blocks == 40 and both.coverage[-1].share == pytest.approx(0.75)
    assert not both.coverage[-1].expected
    assert "too narrow" in both.sentence
    assert score_channel("thrust", np.zeros((500, 2)), np.full(2, np.nan), np.ones(2)) is None


def test_jumps_of_a_run_do_not_pass_for_its_noise(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A run of steps looks noisier by its high frequencies than its sensors are; other runs know better."""
    made = bench_in(tmp_path_factory.mktemp("steps"), "no-load", "ramp", "steps", seed=5, rate_hz=200.0)
    known = posterior_positions(made.campaign, made.blocked[:2], method="fast", draws=400)
    ramp, steps = made.blocked[1:]
    widths = []
    for run in (ramp, steps):
        (found,) = predict_unseen(known, (run,), np.random.default_rng(1), 300)
        # neighbours in time part by noise and little else
        parted = np.diff(found.replicas["speed"] - np.median(found.replicas["speed"], axis=0), axis=1)
        widths.append(float(np.median(parted.std(axis=0) * np.sqrt(run.length_s[1:]))))
    assert steps.noise["speed"].sd > 1.5 * ramp.noise["speed"].sd
    assert widths[1] == pytest.approx(widths[0], rel=0.35)
