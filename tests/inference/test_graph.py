"""Which coordinates a campaign has, who owns them, and what an override changes."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.bench.models import Campaign
from motorfit.inference.assemble import Values
from motorfit.inference.combine import combined_terms, figure_of_merit
from motorfit.inference.draws import prior_positions
from motorfit.inference.graph import LINEAR, LOG, Graph, build_graph
from motorfit.inference.priors import BELIEFS, HalfNormal, Normal, StudentT
from tests.inference.benches import SimulatedBench

RADIUS = 60.0 / (2.0 * math.pi)


def _graph(bench: SimulatedBench, text: str = "") -> Graph:
    campaign: Campaign = bench.with_text(text) if text else bench.campaign
    return build_graph(campaign, bench.blocked)


def test_every_part_stands_once(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    names = [c.name for c in graph.coordinates]
    assert len(set(names)) == len(names) == graph.size
    assert names.count("gain_current") == names.count("controller_resistance") == 1
    assert names.count("thrust_coefficient[prop-a]") == 1
    for motor in ("motor-1", "motor-2"):
        for name in ("kv", "kt_kv_ratio", "total_resistance", "no_load_current", "rotor_inertia"):
            assert f"{name}[{motor}]" in graph.index
    assert all(names[i] == name for name, i in graph.index.items())


def test_what_is_known_exactly_is_not_sampled(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    assert "offset_speed" not in graph.index and graph.fixed["offset_speed"] == 0.0
    assert "gain_motor_current" not in graph.index and graph.fixed["gain_motor_current"] == 1.0
    assert "delay_thrust" not in graph.index and graph.fixed["delay_thrust"] == 0.0


def test_a_late_or_slow_channel_has_a_coordinate(mixed: SimulatedBench) -> None:
    graph = build_graph(mixed.campaign, mixed.blocked, {"delay_thrust": 0.03, "lag_torque": 0.05})
    found = graph.coordinates[graph.index["delay_thrust"]]
    assert (found.kind, found.center, found.scale) == (LINEAR, 0.03, 0.004)
    slow = graph.coordinates[graph.index["lag_torque"]]
    assert (slow.kind, slow.center, slow.scale) == (LOG, math.log(0.05), math.log(1.5))
    assert graph.fixed["delay_current"] == graph.fixed["lag_thrust"] == 0.0
    assert graph.lateness_s("thrust") == pytest.approx(0.038) and graph.lateness_s("torque") == 0.0


def test_a_label_is_believed_with_heavy_tails(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    for motor in mixed.campaign.motors:
        kv = graph.coordinates[graph.index[f"kv[{motor.id}]"]]
        assert kv.prior == StudentT() and math.exp(kv.center) == pytest.approx(motor.label_kv)


def test_a_channel_keeps_the_doubt_of_the_file(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    for channel, doubt in mixed.campaign.bench.channels.items():
        if doubt.gain_sd:
            assert graph.coordinates[graph.index[f"gain_{channel}"]].scale == doubt.gain_sd
        if doubt.offset_sd:
            assert graph.coordinates[graph.index[f"offset_{channel}"]].scale == doubt.offset_sd


def test_motors_without_runs_are_left_out(mixed: SimulatedBench) -> None:
    graph = _graph(mixed, '\n[[motors]]\nid = "spare"\n')
    assert [m.id for m in graph.motors] == ["motor-1", "motor-2"]
    assert not any("spare" in name for name in graph.index)


def test_a_measurement_alone_makes_a_motor(mixed: SimulatedBench) -> None:
    text = '\n[[motors]]\nid = "spare"\n[[measurements]]\nmotor = "spare"\nquantity = "winding_resistance"\n'
    graph = _graph(mixed, text + 'unit = "ohm"\nvalue = 0.08\nsd = 0.002\n')
    assert [m.id for m in graph.motors][-1] == "spare"


@pytest.mark.parametrize(
    ("name", "text", "kind", "center", "scale"),
    [
        ("kv[motor-1]", "[priors.kv]\ncenter = 1234\nfactor = 1.1", LOG, math.log(1234.0), math.log(1.1)),
        ("rotor_inertia[motor-2]", "[priors.rotor_inertia]\ncenter = 5e-6\nfactor = 1.5", LOG,
         math.log(5e-6), math.log(1.5)),
        ("thrust_reynolds_exponent[prop-a]", "[priors.thrust_reynolds_exponent]\ncenter = 0.1\nsd = 0.02",
         LINEAR, 0.1, 0.02),
        ("gain_thrust", "[priors.gain_thrust]\ncenter = 1.01\nfactor = 1.002", LOG, math.log(1.01),
         math.log(1.002)),
        ("duty_slope", "[priors.duty_slope]\ncenter = 1.02\nsd = 0.01", LINEAR, 1.02, 0.01),
    ],
)  # fmt: skip
def test_override_of_a_coordinate(
    mixed: SimulatedBench, name: str, text: str, kind: int, center: float, scale: float
) -> None:
    graph = _graph(mixed, f"\n{text}\n")
    found = graph.coordinates[graph.index[name]]
    assert found.kind == kind and found.prior == Normal() and name in graph.direct
    assert found.center == pytest.approx(center) and found.scale == pytest.approx(scale)
    v = Values(graph, graph.natural(graph.start()[None, :]))
    plain = _graph(mixed)
    rows, _ = combined_terms(graph, v)
    # its prior is the coordinate's own; no further term states it again
    assert (
        rows.shape[0] == combined_terms(plain, Values(plain, plain.natural(plain.start()[None])))[0].shape[0]
    )


@pytest.mark.parametrize(
    ("name", "center", "factor"),
    [
        ("kt", 0.0083, 1.02),
        ("winding_resistance", 0.05, 1.3),
        ("torque_coefficient", 0.011, 1.1),
        ("figure_of_merit", 0.5, 1.05),
    ],
)
def test_override_of_a_derived_value(mixed: SimulatedBench, name: str, center: float, factor: float) -> None:
    graph = _graph(mixed, f"\n[priors.{name}]\ncenter = {center}\nfactor = {factor}\n")
    assert not graph.direct
    v = Values(graph, graph.natural(prior_positions(graph, np.random.default_rng(4), 7)))
    rows, _ = combined_terms(graph, v)
    if name == "torque_coefficient":
        value = v["torque_coefficient[prop-a]"]
    elif name == "figure_of_merit":
        value = figure_of_merit(v, "prop-a")
    else:
        value = v.motor("motor-2")[name]
    np.testing.assert_allclose(rows[-1], np.log(value / center) / math.log(factor), rtol=1e-9)


def test_derived_algebra(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    v = Values(graph, graph.natural(prior_positions(graph, np.random.default_rng(5), 300)))
    m = v.motor("motor-1")
    ke = RADIUS / m["kv"]
    np.testing.assert_allclose(m["kt"], m["kt_kv_ratio"] * ke)
    total = v["total_resistance[motor-1]"]
    np.testing.assert_allclose(m["winding_resistance"] + v["controller_resistance"], total)
    # unloaded at 10 V the back-EMF is what the winding leaves, and all current is drag
    omega = (10.0 - m["winding_resistance"] * m["no_load_current"]) / ke
    plain = omega * ke > 0.5
    drag = m["drag_current_static"] + m["drag_current_slope"] * omega + m["drag_current_windage"] * omega**2
    assert plain.mean() > 0.95
    np.testing.assert_allclose(drag[plain], m["no_load_current"][plain], rtol=1e-12)
    np.testing.assert_allclose(m["saturation_current"] ** -2, v["inverse_saturation[motor-1]"], rtol=1e-9)


def test_resistance_below_the_controllers_is_impossible(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    z = graph.start()[None, :].copy()
    z[0, graph.index["total_resistance[motor-1]"]] = -20.0
    assert np.isnan(Values(graph, graph.natural(z)).motor("motor-1")["winding_resistance"]).all()


def test_natural_and_bounds(mixed: SimulatedBench) -> None:
    graph = _graph(mixed)
    z = prior_positions(graph, np.random.default_rng(6), 500)
    natural = graph.natural(z)
    for i, c in enumerate(graph.coordinates):
        if c.kind == LOG:
            np.testing.assert_allclose(np.log(natural[i]), c.center + c.scale * z[:, i], atol=1e-9)
        if isinstance(c.prior, HalfNormal):
            assert (z[:, i] >= 0.0).all() and (z[:, i] <= c.prior.top).all()
    share = natural[graph.index["braking_share[motor-1]"]]
    assert share.min() >= 0.0 and share.max() <= 1.0


@pytest.mark.parametrize(
    ("name", "center"),
    [("saturation_current", 80.0), ("winding_heat_capacity", 5.0), ("body_heat_capacity", 40.0)],
)
def test_an_effect_that_is_stated_is_there(mixed: SimulatedBench, name: str, center: float) -> None:
    """Its own lognormal takes the place of a belief that starts at nothing; prior draws follow it too."""
    graph = _graph(mixed, f"\n[priors.{name}]\ncenter = {center}\nfactor = 1.2\n")
    found = graph.coordinates[graph.index[f"{name}[motor-1]"]]
    assert (found.kind, found.center, found.scale) == (LOG, math.log(center), math.log(1.2))
    z = prior_positions(graph, np.random.default_rng(1), 4000)
    drawn = Values(graph, graph.natural(z)).motor("motor-1")[name]
    assert np.median(drawn) == pytest.approx(center, rel=0.02)
    assert np.std(np.log(drawn)) == pytest.approx(math.log(1.2), rel=0.06)


@pytest.mark.parametrize(("name", "center", "sd"), [("kt", 0.009, 0.002), ("winding_resistance", 0.08, 0.02)])
def test_a_normal_belief_is_one_of_the_value(
    mixed: SimulatedBench, name: str, center: float, sd: float
) -> None:
    """Along the coordinate behind it, density over the value's logarithm is N(value) times the value."""
    graph = _graph(mixed, f"\n[priors.{name}]\ncenter = {center}\nsd = {sd}\n")
    behind = graph.index["kt_kv_ratio[motor-1]" if name == "kt" else "total_resistance[motor-1]"]
    z = np.zeros((41, graph.size))
    z[:, behind] = np.linspace(-0.6, 0.6, 41)
    v = Values(graph, graph.natural(z))
    value = v.motor("motor-1")[name]
    inside = np.abs(v["kt_kv_ratio[motor-1]"] - 0.92) < 0.15
    terms, jacobian = combined_terms(graph, v)
    density = jacobian - 0.5 * np.sum(terms**2, axis=0)
    wanted = -0.5 * ((value - center) / sd) ** 2
    if (
        name == "kt"
    ):  # a coordinate that is log K_t but for a constant; how good a motor it is, is believed too
        good = np.log(value) - 0.5 * np.log(v.motor("motor-1")["winding_resistance"])
        wanted = wanted + np.log(value) - 0.5 * _goodness(mixed, good) ** 2
    else:
        wanted = wanted + np.log(v["total_resistance[motor-1]"])
    np.testing.assert_allclose(np.diff((density - wanted)[inside]), 0.0, atol=1e-9)


def _goodness(bench: SimulatedBench, log_ratio: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    belief, motor = BELIEFS["torque_per_root_watt"], bench.campaign.motors[0]
    assert motor.mass_g is not None
    expected = math.log(belief.center * (motor.mass_g / 35.0) ** 0.83)
    return np.asarray((log_ratio - expected) / belief.spread)
